// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
	"maps"
	"time"

	"fillmark/loops"
)

// breaker keeps what a run refused for good until it is plain whose fault that
// is: a relay that refuses most of what it is given is at fault itself, and then
// nobody is given up.
type breaker struct {
	tried map[string]bool // recipients that were offered
	count map[string]int  // refusals of this run, by recipient
	gone  map[string]bool // recipients that these alone would give up
	kept  []refusal
}

// refusal is one message that was refused for good, or not offered since its
// recipient just was.
type refusal struct {
	message loops.Message
	e       *SendError
	f       loops.Failure
	tries   int // before this one
}

func newBreaker() *breaker {
	return &breaker{map[string]bool{}, map[string]int{}, map[string]bool{}, nil}
}

const (
	// breakerLeast is how many recipients must be refused, in a run or since the
	// relay last took a letter, before it can be the relay's fault: of one or two
	// nobody can tell.
	breakerLeast = 3
	// breakerAtOnce is how many end a run at once, so that a long queue is not
	// offered to a relay that refuses it all. A wrong guess costs a pause: the
	// next run begins with the others.
	breakerAtOnce = 5
	// breakerDay bounds for how long a refusal is held against the relay: whoever
	// looks after it has heard of it by then, and the owner is to be called.
	breakerDay = 24 * time.Hour
)

// tripped tells whether the relay is at fault: more than half of the recipients
// of the run were refused.
func (b *breaker) tripped(least int) bool {
	return len(b.count) >= least && 2*len(b.count) > len(b.tried)
}

// meant tells that a refusal is about its address: an earlier one was held against
// the relay, which took a letter for somebody else since, or a day is over.
func (w *delivery) meant(m loops.Message) (bool, error) {
	if m.Blamed.IsZero() {
		return false, nil
	}
	if w.clock().Sub(m.Blamed) >= breakerDay {
		return true, nil
	}
	return w.box.TookSince(m.Blamed, m.To)
}

// keep puts a refusal off until the end of the run, unless it is plain by now whose
// fault it is; should there be no end, it is tried again.
func (w *delivery) keep(m loops.Message, e *SendError, f loops.Failure, try attempt) error {
	if meant, err := w.meant(m); err != nil || meant {
		delete(w.run.tried, m.To) // it tells nothing of the relay
		return errors.Join(err, w.refused(m, e, f))
	}
	before, err := w.box.RefusedInARow(m.To)
	if err != nil {
		return err
	}
	run := w.run
	run.count[m.To]++
	run.gone[m.To] = run.gone[m.To] || e.Address && Suppresses(e.Status, before+run.count[m.To])
	run.kept = append(run.kept, refusal{m, e, f, try.count - 1})
	return w.box.MarkDeferred(m.Key, m.Claim, w.clock().Add(relayPause), try.count-1, f)
}

// conclude ends a run: refusals are put on record, or held against the relay. A
// bench that mails one owner at a time finds out over several runs: then those
// before are taken back too.
func (w *delivery) conclude() (failed error) {
	run := w.run
	if len(run.kept) == 0 {
		return nil
	}
	before, err := w.box.RefusedByRelay()
	if err != nil {
		return err
	}
	everybody := maps.Clone(run.count)
	for _, m := range before {
		everybody[m.To]++
	}
	var fault string
	switch {
	case run.tripped(breakerLeast):
		fault = fmt.Sprintf("refused %d of the %d recipients of one run", len(run.count), len(run.tried))
	case len(before) > 0 && len(everybody) >= breakerLeast:
		fault = fmt.Sprintf("refused %d recipients one after the other and took no letter in between", len(everybody))
	default:
		for _, r := range run.kept {
			failed = errors.Join(failed, moved(w.refused(r.message, r.e, r.f)))
		}
		return failed
	}
	fault += ", which is taken for the relay's own fault"
	w.rep.RelayFault = &SendError{Temporary: true, RelayFault: true, Err: errors.New(fault + ": " + run.kept[0].f.Reason)}
	w.rep.RetryAt = w.clock().Add(relayPause)
	for _, r := range run.kept {
		f := r.f
		f.Reason = shortened(fault+": "+f.Reason, 500)
		if f.Blamed = r.message.Blamed; f.Blamed.IsZero() {
			f.Blamed = w.clock()
		}
		failed = errors.Join(failed, moved(tally(&w.rep.Deferred, w.box.MarkDeferred(r.message.Key, r.message.Claim, w.rep.RetryAt, r.tries, f))))
	}
	for _, m := range before {
		failed = errors.Join(failed, moved(w.takenBack(m)))
	}
	return failed
}

// takenBack has a message that was refused tried again, where that still helps, and
// its address taken off the list of those given up, where it stands there for that
// refusal.
func (w *delivery) takenBack(m loops.Message) error {
	x, err := w.box.Suppression(m.To)
	if err == nil && x.Reason == m.LastError {
		err = w.box.Unsuppress(m.To, suppressor, w.clock())
	}
	if err != nil && !errors.Is(err, loops.ErrNotFound) {
		return err
	}
	now := w.clock()
	if !m.PointlessAfter.IsZero() && now.After(m.PointlessAfter) {
		return nil
	}
	return w.box.TakeBack(m.Key, suppressor, now, w.rep.RetryAt)
}

// moved passes over a message that a technician or another daemon took meanwhile.
func moved(err error) error {
	if errors.Is(err, loops.ErrConflict) {
		return nil
	}
	return err
}
