// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package web is Fillmark's one handler: the pages for the bench and for
// owners, and the JSON API under /api/v1. The daemon serves it on its pages'
// address and on the Unix socket beside the store; commands without a daemon
// call it in process. There is one code path for every write.
//
// Main entry: [New]. The handler is safe for concurrent use. Who acts is put
// into the request's context by whoever serves it, see [WithActor].
package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"net/http"
	"net/netip"
	"time"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/authority"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// reader is what the pages and the API read beyond the workshop's actions.
type reader interface {
	Owners() iter.Seq2[loops.Owner, error]
	Owner(loops.OwnerID) (loops.Owner, error)
	Machines() iter.Seq2[loops.Machine, error]
	Machine(loops.MachineID) (loops.Machine, error)
	Loops() iter.Seq2[loops.Loop, error]
	Messages(loops.MessageStatus) iter.Seq2[loops.Message, error]
	Message(loops.MessageKey) (loops.Message, error)
	suppressions
	Loop(loops.LoopID) (loops.Loop, error)
	Revision() (loops.StoreRevision, error)
	Containers() iter.Seq2[loops.Container, error]
	Instruments() iter.Seq2[loops.Instrument, error]
	Samples() iter.Seq2[loops.RetainedSample, error]
}

// alarms tells which parts of the work cannot be done at an instant, and the
// names of all that it knows.
type alarms interface {
	Red(now time.Time) []loops.Alarm
	Names() []string
}

// Deps is what the handler is built from.
type Deps struct {
	Workshop *workshop.Workshop
	Reader   reader
	// Keeper looks after the register's file as a whole.
	Keeper keeper
	// House looks whether all is well; nil where nobody does.
	House house
	// Deliver sends what is queued; it is called after a sweep was asked for.
	Deliver func(ctx context.Context, now time.Time) (notify.Report, error)
	// MailReachesOwners is false where mail only goes to a folder.
	MailReachesOwners bool
	// Wake is called after every write, so that mail it caused goes out soon.
	Wake func()
	// Now is the clock of the requests.
	Now func() time.Time
	Log *slog.Logger
	// Random makes the keys of forms.
	Random io.Reader
	// Hosts are the Host headers answered to besides loopback names.
	Hosts []string
	// Gate knows who may come in.
	Gate *signin.Gate
	// WithoutSignIn shows the bench pages to this computer's own users while no
	// technician has a password: the open bench.
	WithoutSignIn bool
	// Start is the secret of the link that opens the bench to a browser on this
	// computer while no technician has a password; empty for no such link.
	Start string
	// Known is the key that the cookies of known browsers are made with; nil
	// makes one that lasts as long as the handler.
	Known []byte
	// Wait lets a stranger's try wait; nil waits.
	Wait func(ctx context.Context, d time.Duration) error
	// Authority is the workshop's own, nil where it has none; BenchAt is where phones
	// of its network open the bench then.
	Authority func() *authority.Public
	BenchAt   string
	// Secure tells that the pages have an https address.
	Secure bool
	// TrustedProxy is where a proxy's word on who asks is taken; the zero value
	// trusts none.
	TrustedProxy netip.Prefix
	// Pulse is what the sweeping loop tells of itself; nil where there is none.
	Pulse *Pulse
	// Alarms says what cannot be done; nil where nobody looks.
	Alarms alarms
}

type server struct {
	Deps
	pages                 pages
	throttles             throttles
	requests              requests
	cache                 dueCache
	dayKept, registerKept keptPart
	acts                  map[string]acts.Definition // by name
	// who is let in, by the pattern of the route.
	who     map[string]access
	waiting chan struct{} // who waits for a try to sign in
}

// New returns the handler, or an error where an embedded file is broken or
// nobody watches the gate.
func New(d Deps) (http.Handler, error) {
	if d.Gate == nil {
		return nil, errors.New("web: a gate is needed")
	}
	pages, err := newPages()
	if err != nil {
		return nil, err
	}
	if d.Known == nil {
		d.Known = make([]byte, 32)
		if _, err := io.ReadFull(d.Random, d.Known); err != nil {
			return nil, fmt.Errorf("web: random bytes: %w", err)
		}
	}
	if d.Wait == nil {
		d.Wait = wait
	}
	s := &server{Deps: d, pages: pages, throttles: newThrottles(), acts: definitions(), who: map[string]access{}, waiting: make(chan struct{}, mostWaiting)}
	mux := http.NewServeMux()
	for _, rt := range s.routes() {
		mux.Handle(rt.pattern, s.handler(rt.call))
		s.who[rt.pattern] = rt.who
	}
	handler := s.gated(mux)
	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.turnAway(w, r, errSite) }))
	handler = origin.Handler(handler)
	handler = limitBodies(handler)
	handler = allowedHosts(d.Hosts, handler)
	compress, err := compressor()
	if err != nil {
		return nil, err
	}
	handler = compress(handler)
	return s.logged(secured(d.Secure && d.BenchAt == "", handler)), nil
}

type actorKey struct{}

// WithActor returns a context in which everything is recorded as done by the
// actor: "local:anna" for a command of that user.
func WithActor(ctx context.Context, actor string) context.Context {
	return context.WithValue(ctx, actorKey{}, actor)
}

// stamp tells when and by whom the request acts.
func (s *server) stamp(r *http.Request) workshop.Stamp {
	actor, ok := r.Context().Value(actorKey{}).(string)
	if !ok {
		actor = visitOf(r).technician
	}
	if actor == "" {
		actor = "page" // while nobody signs in
	}
	return workshop.Stamp{At: s.Now().UTC(), By: actor}
}
