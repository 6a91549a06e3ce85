// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"fillmark/loops"
	"fillmark/notify"
)

// Pulse is what the sweeping loop tells of itself, for /readyz and /metrics.
// It is safe for concurrent use.
type Pulse struct {
	every time.Duration

	mu   sync.Mutex
	seen pulse
}

// pulse is what the loop did since the start.
type pulse struct {
	swept                                 time.Time // the last sweep that worked
	sweeps, sweepFaults, reminders        uint64
	delivered, deferred, refused, expired uint64
	withdrawn, held                       uint64
	relayDown                             bool
	fault                                 error // of the last sweep; nil where it worked
}

// NewPulse returns the pulse of a loop that sweeps at least that often.
func NewPulse(every time.Duration) *Pulse { return &Pulse{every: every} }

// Swept notes a sweep, how many reminders it composed, and its error if any.
func (p *Pulse) Swept(at time.Time, reminders int, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen.sweeps++
	if p.seen.fault = err; err != nil {
		p.seen.sweepFaults++
		return
	}
	p.seen.swept = at
	p.seen.reminders += uint64(reminders)
}

// Delivered notes what a delivery did.
func (p *Pulse) Delivered(r notify.Report) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen.delivered += uint64(r.Delivered)
	p.seen.deferred += uint64(r.Deferred)
	p.seen.refused += uint64(r.Refused)
	p.seen.expired += uint64(r.Expired)
	p.seen.withdrawn += uint64(r.Withdrawn)
	p.seen.held += uint64(r.Held)
	p.seen.relayDown = r.RelayFault != nil
}

func (p *Pulse) now() pulse {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.seen
}

// Late says how the loop has fallen behind: nil while sweeps come in time.
func (p *Pulse) Late(now time.Time) error {
	seen := p.now()
	why := ""
	if seen.fault != nil {
		why = ": " + seen.fault.Error()
	}
	if seen.swept.IsZero() {
		return errors.New("not swept yet" + why)
	}
	// One that is missed is bad luck; with two gone the loop stands.
	if age := now.Sub(seen.swept); age > 3*p.every {
		return fmt.Errorf("the last sweep was %s ago, it should be every %s%s", age.Round(time.Second), p.every, why)
	}
	return nil
}

func (s *server) healthy(w http.ResponseWriter, _ *http.Request) error {
	writeText(w, http.StatusOK, "ok\n")
	return nil
}

// ready tells whether the program does its work: the register can be read and
// sweeps come in time.
func (s *server) ready(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.Reader.Owner(0); !errors.Is(err, loops.ErrNotFound) {
		s.Log.Error("not ready: the register cannot be read", "error", err)
		writeText(w, http.StatusServiceUnavailable, "the register cannot be read\n")
		return nil
	}
	if trouble := s.mailTrouble(); trouble != "" {
		writeText(w, http.StatusServiceUnavailable, trouble+"\n")
		return nil
	}
	if s.Pulse != nil {
		if err := s.Pulse.Late(s.Now()); err != nil {
			writeText(w, http.StatusServiceUnavailable, err.Error()+"\n")
			return nil
		}
	}
	if trouble := s.stopped(); trouble != "" {
		writeText(w, http.StatusServiceUnavailable, trouble+"\n")
		return nil
	}
	writeText(w, http.StatusOK, "ready\n")
	return nil
}

// mailTrouble says that mail does not leave; empty while it does.
func (s *server) mailTrouble() string {
	state, err := s.Workshop.MailState(s.Now())
	if err != nil {
		return "The outbox cannot be read: " + err.Error() + "."
	}
	return state.Trouble(s.Workshop.Settings().Zone)
}

func writeText(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text)) // the reader has gone where this fails
}
