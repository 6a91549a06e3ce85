// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"fillmark/loops"
)

// leaving is one message of a wave.
type leaving struct {
	queued loops.Message // as it stands in the queue
	is     loops.Message // as it is to leave
	try    attempt
	raw    []byte // what the wire is to carry, the signature in front; nil before it is signed
	judged
}

// judged is what was found of a message by the register.
type judged struct {
	review Review
	at     time.Time           // the present then
	seen   loops.StoreRevision // before it was looked at; zero where nothing judges
	no     *loops.Suppression  // why nothing goes to its address
	why    string              // it cannot be judged or signed, for people
	fault  error               // the same, of this message alone
	broken error               // the register cannot be read
}

// preparation is messages that are judged and signed while others leave.
type preparation struct {
	all  []*leaving
	err  error // why there are no more of them
	look func(*leaving)
	next atomic.Int64
	busy sync.WaitGroup
}

// prepare begins to judge and sign, on all processors but the one that the relay
// is spoken to from: it must not wait for a signature at each reply.
func (w *delivery) prepare(all []*leaving) *preparation {
	p := &preparation{all: all, look: w.look}
	for range min(runtime.GOMAXPROCS(0)-1, len(all)) {
		p.busy.Go(p.work)
	}
	return p
}

func (p *preparation) work() {
	for {
		n := int(p.next.Add(1)) - 1
		if n >= len(p.all) {
			return
		}
		p.look(p.all[n])
	}
}

// finish takes a hand in what is left, and waits for all of it.
func (p *preparation) finish() {
	p.work()
	p.busy.Wait()
}

// leave leaves the rest undone.
func (p *preparation) leave() {
	p.next.Store(int64(len(p.all)))
	p.busy.Wait()
}

// look judges a message by the register as it is and signs what is to leave. It
// writes nothing.
func (w *delivery) look(l *leaving) {
	was := l.is
	l.judged = judged{review: Review{Message: l.queued}, at: w.clock()}
	if w.truth != nil {
		if l.seen, l.broken = w.box.Revision(); l.broken != nil {
			return
		}
		if l.review, l.fault = w.truth.Review(l.queued, l.at); l.fault != nil {
			l.why = shortened(oneLine("cannot be judged: "+l.fault.Error()), 500)
			return
		}
	}
	if l.review.Withdrawn != "" {
		return
	}
	l.is = l.review.Message
	switch x, err := w.box.Suppression(l.is.To); {
	case err == nil:
		l.no = &x
		return
	case !errors.Is(err, loops.ErrNotFound):
		l.broken = err
		return
	}
	if l.raw != nil && bytes.Equal(was.Raw, l.is.Raw) {
		l.is.Signature = was.Signature // another letter, another signature; the same, the same
		return
	}
	if l.raw, l.is.Signature, l.fault = w.signed(l.is, l.queued.Unsure); l.fault != nil {
		l.why = l.fault.Error()
	}
}

// signed puts the signature in front, which holds the present time: one that may
// have left stays as it was.
func (d *Deliverer) signed(m loops.Message, unsure bool) (raw, signature []byte, err error) {
	switch {
	case unsure && len(m.Signature) > 0:
		return slices.Concat(m.Signature, m.Raw), m.Signature, nil
	case d.sign == nil || unsure:
		return m.Raw, nil, nil // as it left, where it did
	}
	if raw, err = d.sign.Sign(m.Raw); err != nil {
		return nil, nil, err
	}
	return raw, raw[:len(raw)-len(m.Raw)], nil
}

// ready takes out what is not to be offered at all.
func (w *delivery) ready(wave []*leaving) (all []*leaving, err error) {
	for _, l := range wave {
		m := l.queued
		if now := w.clock(); !m.PointlessAfter.IsZero() && now.After(m.PointlessAfter) && !w.renewed(m) {
			if err := tally(&w.rep.Expired, w.box.MarkExpired(m.Key, m.Claim, now, pointless(m))); err != nil {
				return nil, of(m, err)
			}
			continue
		}
		l.try = w.attempt(m)
		if w.run.gone[m.To] {
			if err := w.keep(m, &SendError{}, loops.Failure{Reason: "not sent: the address was refused just before", Unsure: m.Unsure}, l.try); err != nil {
				return nil, of(m, err)
			}
			continue
		}
		all = append(all, l)
	}
	return all, nil
}

// settled puts on record what is not to leave now, and returns the others with the
// state of the register that they were judged by. loops.ErrConflict tells that they
// are to be judged again, since something was written meanwhile.
func (w *delivery) settled(all []*leaving) (staying []*leaving, seen loops.StoreRevision, err error) {
	wrote := false
	for i, l := range all {
		if wrote && !l.leaves() {
			w.look(l)
		}
		if l.leaves() {
			staying = append(staying, l)
			continue
		}
		wrote = true
		if err := w.settle(l); err != nil {
			return append(staying, all[i:]...), seen, of(l.queued, err)
		}
	}
	for i, l := range staying {
		at := l.seen
		if w.truth != nil && at == w.before {
			at = w.left
		}
		if wrote || i > 0 && at != seen {
			return staying, seen, fmt.Errorf("written to meanwhile: %w", loops.ErrConflict)
		}
		seen = at
	}
	return staying, seen, nil
}

// leaves tells that nothing stands against the message.
func (l *leaving) leaves() bool {
	return l.broken == nil && l.fault == nil && l.no == nil && l.review.Withdrawn == ""
}

// settle puts on record why the message does not leave now.
func (w *delivery) settle(l *leaving) error {
	key := l.queued.Key
	switch {
	case l.broken != nil:
		return l.broken
	case l.fault != nil: // it stays; the others still go
		w.faults = errors.Join(w.faults, fmt.Errorf("deliver: %w", of(l.queued, l.fault)))
		return tally(&w.rep.Deferred, w.box.MarkDeferred(key, l.queued.Claim, l.try.next, l.queued.Attempts, loops.Failure{Reason: l.why, Unsure: l.queued.Unsure}))
	case l.no != nil:
		return tally(&w.rep.Refused, w.box.MarkRefused(key, l.queued.Claim, w.clock(), loops.Failure{
			Reason: "not sent: nothing goes to this address since " + l.no.Since.UTC().Format("2 Jan 2006 15:04 MST") + ": " + l.no.Reason, Status: l.no.Status}))
	}
	return tally(&w.rep.Withdrawn, w.box.MarkWithdrawn(key, l.seen, w.clock(), l.review.Withdrawn, l.review.Instead))
}

// of names the message that an error is about.
func of(m loops.Message, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("message %s: %w", m.Key, err)
}
