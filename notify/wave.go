// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
)

// delivery is one walk through the outbox. Its letters leave in waves, one after
// the other: one commit before the first of a wave leaves records that attempts at
// all of it begin, and what of the wave before arrived. Each letter is true at its
// own first byte all the same: once anything else was written, those that have not
// left go back to the queue and are judged again. Meanwhile the next wave is judged
// and signed.
type delivery struct {
	*Deliverer
	now   time.Time
	began time.Time // by the machine's clock
	run   *breaker
	rep   *Report
	// faults are of single messages; the others still go.
	faults error
	due    []loops.Message // read from the queue, in no wave yet
	size   int             // of a wave taken off now
	next   *preparation    // the wave after the one under way; nil before it is taken off
	wave   []*leaving      // under way, or the last that was
	// arrived is what of it the relay took, not on record yet.
	arrived []loops.Arrival
	// before and left are the register before that wave began and as this left it:
	// what was judged by the one is as true by the other.
	before, left loops.StoreRevision
}

const (
	// largestWave bounds how many messages a kill leaves in doubt, each of which
	// may arrive once more.
	largestWave = 32
	// batch is how many messages are read at a time, so that a long queue does
	// not stand in memory.
	batch = 4 * largestWave
	// quickWave is within which a wave leaves that a larger one may follow.
	quickWave = 100 * time.Millisecond
	// oldWave is after which what was judged together has waited too long.
	oldWave = time.Second
)

// walk offers what is due, until none is left or the relay fails.
func (w *delivery) walk(ctx context.Context) (err error) {
	w.next = w.ahead(nil)
	defer func() {
		w.next.leave()
		err = errors.Join(err, w.delivered())
	}()
	for len(w.next.all) > 0 {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := overtaken(w.begin(ctx)); err != nil || w.rep.RelayFault != nil {
			return err
		}
		rest, err := w.offer(ctx)
		if err = errors.Join(overtaken(err), w.notBegun(rest)); err != nil || w.rep.RelayFault != nil || w.run.tripped(breakerAtOnce) {
			return err
		}
		if len(w.wave) > 0 && len(w.next.all) > 0 && w.size > 1 {
			continue // its commit records what arrived
		}
		if err := w.delivered(); err != nil {
			return err
		}
		if len(w.next.all) == 0 && w.next.err == nil {
			w.next = w.ahead(nil) // those that came back
		}
	}
	return w.next.err
}

// overtaken leaves out that another daemon has a message by now: what becomes of it
// is that one's to say.
func overtaken(err error) error {
	if errors.Is(err, loops.ErrRepeated) {
		return nil
	}
	return err
}

// ahead takes a wave off the queue and begins to judge and sign it. None of it is
// for an owner or address of those that are under way: what becomes of one decides
// about the next.
func (w *delivery) ahead(underWay []*leaving) *preparation {
	var all []*leaving
	var err error
	if len(w.due) == 0 {
		w.due, err = w.box.NextQueued(w.now, batch)
	}
	w.due = slices.DeleteFunc(w.due, func(m loops.Message) bool {
		is := func(l *leaving) bool { return l.queued.Key == m.Key }
		same := func(l *leaving) bool {
			return l.is.To == m.To || l.queued.To == m.To || m.Owner != 0 && l.is.Owner == m.Owner
		}
		switch {
		case slices.ContainsFunc(underWay, is):
			return true
		case len(all) >= w.size || slices.ContainsFunc(underWay, same) || slices.ContainsFunc(all, same):
			return false
		}
		all = append(all, &leaving{queued: m, is: m})
		return true
	})
	p := w.prepare(all)
	p.err = err
	return p
}

// begin records that attempts begin with what of the next wave is to leave, which
// is then under way, while the one after it is judged and signed.
func (w *delivery) begin(ctx context.Context) error {
	p := w.next
	p.finish()
	w.next = w.ahead(append(w.wave, p.all...))
	w.wave = nil
	all, err := w.ready(p.all)
	if err != nil || len(all) == 0 {
		return err
	}
	if err := w.open(ctx); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		w.size = 1
		return w.record(all[0].queued, all[0].try, err)
	}
	return w.beginAll(all)
}

// judgedAgain is how often messages are judged again because something was
// written in between, before they are tried one by one, or wait for the next
// round.
const judgedAgain = 20

func (w *delivery) beginAll(all []*leaving) error {
	if now := w.clock(); slices.ContainsFunc(all, func(l *leaving) bool { return l.at != now }) {
		w.prepare(all).finish() // the wave before, or the line, took long: it may be another day
	}
	for range judgedAgain {
		staying, seen, err := w.settled(all)
		if all = staying; err == nil && len(all) > 0 {
			var left loops.StoreRevision
			for _, l := range all { // a line may have taken long to open
				l.try = w.attempt(l.queued)
			}
			if left, err = w.box.MarkAttempts(attempts(all), seen, w.clock(), w.arrived...); err == nil {
				w.wave, w.arrived, w.before, w.left = all, nil, seen, left
				for _, l := range all {
					l.is.Claim = left.Write
				}
				return nil
			}
			if failed := w.delivered(); failed != nil { // by itself, whatever becomes of the others
				return failed
			}
		}
		if errors.Is(err, loops.ErrRepeated) { // another daemon has taken one of them
			if len(all) == 1 {
				return nil
			}
			break
		}
		if !errors.Is(err, loops.ErrConflict) {
			return err
		}
		w.prepare(all).finish()
	}
	w.size = 1
	if len(all) > 1 {
		w.prepare(all[:1]).finish()
		return w.beginAll(all[:1]) // one of them cannot be settled: the others stay in the queue
	}
	l := all[0]
	return of(l.queued, tally(&w.rep.Deferred, w.box.MarkDeferred(l.queued.Key, l.queued.Claim, w.clock().Add(time.Minute), l.queued.Attempts, loops.Failure{
		Reason: "not sent yet: the register was written to all the while", Unsure: l.try.unsure})))
}

func attempts(all []*leaving) []loops.Attempt {
	out := make([]loops.Attempt, len(all))
	for i, l := range all {
		out[i] = loops.Attempt{Message: l.is, Next: l.try.taken}
	}
	return out
}

// offer sends the messages in turn for as long as the register says what they
// were judged by. It returns those that were not begun.
func (w *delivery) offer(ctx context.Context) (rest []*leaving, err error) {
	all, began := w.wave, time.Now()
	if len(all) == 0 {
		return nil, nil
	}
	defer func() {
		switch {
		case len(rest) > 0:
			w.size = 1
		case time.Since(began) > quickWave:
			w.size = max(1, w.size/2)
		default:
			w.size = min(2*w.size, largestWave)
		}
	}()
	for i, l := range all {
		if i > 0 {
			if ctx.Err() != nil || w.rep.RelayFault != nil || w.run.tripped(breakerAtOnce) {
				return all[i:], nil
			}
			if err := w.open(ctx); err != nil {
				if ctx.Err() != nil {
					return all[i:], nil
				}
				return all[i+1:], of(l.is, w.record(l.is, l.try, err))
			}
			if now, err := w.box.Revision(); err != nil || now != w.left || time.Since(began) > oldWave {
				return all[i:], of(l.is, err)
			}
		}
		sendErr := w.send(ctx, l)
		if ctx.Err() != nil && !answered(sendErr) {
			// We cut the line ourselves: the attempt is on record, nothing is known.
			return all[i+1:], ctx.Err()
		}
		if sendErr == nil {
			w.run.tried[l.is.To] = true
			w.rep.Delivered++
			w.arrived = append(w.arrived, loops.Arrival{Key: l.is.Key, Claim: l.is.Claim})
			continue
		}
		if err := w.record(l.is, l.try, sendErr); err != nil {
			return all[i+1:], of(l.is, err)
		}
	}
	return nil, nil
}

// open opens a line for the next message.
func (w *delivery) open(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	return w.transport.Open(ctx)
}

func (w *delivery) send(ctx context.Context, l *leaving) error {
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	return w.transport.Send(ctx, w.envelope(l.is), l.raw)
}

// delivered records what arrived: together, or one by one where that fails for
// one of them.
func (w *delivery) delivered() error {
	if len(w.arrived) == 0 {
		return nil
	}
	keys := make([]loops.MessageKey, len(w.arrived)) // of one wave, with one claim
	for i, a := range w.arrived {
		keys[i] = a.Key
	}
	err := w.box.MarkDelivered(w.clock(), w.arrived[0].Claim, keys...)
	if loops.NoWrite(err) {
		return err // it arrived all the same: whoever asks again tries again
	}
	arrived := w.arrived
	w.arrived = nil
	if err == nil || len(keys) == 1 {
		return overtaken(err)
	}
	err = nil
	for _, a := range arrived {
		if failed := overtaken(w.box.MarkDelivered(w.clock(), a.Claim, a.Key)); failed != nil {
			err = errors.Join(err, fmt.Errorf("message %s: %w", a.Key, failed))
		}
	}
	return err
}

// notBegun puts messages of which nothing left back into the queue as they stood.
func (w *delivery) notBegun(rest []*leaving) error {
	if len(rest) == 0 {
		return nil
	}
	all := make([]loops.Message, len(rest))
	for i, l := range rest {
		all[i] = l.queued
	}
	return w.box.MarkNotBegun(rest[0].is.Claim, all)
}
