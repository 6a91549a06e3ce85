// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
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
	// breakerLeast is how many recipients a run must refuse before it can be the
	// relay's fault: of one or two nobody can tell.
	breakerLeast = 3
	// breakerAtOnce is how many end a run at once, so that a long queue is not
	// offered to a relay that refuses it all. A wrong guess costs a pause: the
	// next run begins with the others.
	breakerAtOnce = 5
)

// tripped tells whether the relay is at fault: more than half of the recipients
// of the run were refused.
func (b *breaker) tripped(least int) bool {
	return len(b.count) >= least && 2*len(b.count) > len(b.tried)
}

// keep puts a refusal off until the end of the run; should there be none, it is
// tried again.
func (d *Deliverer) keep(run *breaker, now time.Time, m loops.Message, e *SendError, f loops.Failure, try attempt) error {
	before, err := d.box.RefusedInARow(m.To)
	if err != nil {
		return err
	}
	run.count[m.To]++
	run.gone[m.To] = run.gone[m.To] || e.Address && Suppresses(e.Status, before+run.count[m.To])
	run.kept = append(run.kept, refusal{m, e, f, try.count - 1})
	return d.box.MarkDeferred(m.Key, m.Claim, now.Add(relayPause), try.count-1, f)
}

// settle ends a run: refusals are put on record, or held against the relay.
func (d *Deliverer) settle(run *breaker, now time.Time, rep *Report) error {
	if run.tripped(breakerLeast) {
		fault := fmt.Sprintf("refused %d of the %d recipients of one run, which is taken for the relay's own fault", len(run.count), len(run.tried))
		rep.RelayFault, rep.RetryAt = &SendError{Temporary: true, RelayFault: true, Err: errors.New(fault + ": " + run.kept[0].f.Reason)}, now.Add(relayPause)
		var failed error
		for _, r := range run.kept {
			rep.Deferred++
			f := r.f
			f.Reason = shortened(fault+": "+f.Reason, 500)
			failed = errors.Join(failed, moved(d.box.MarkDeferred(r.message.Key, r.message.Claim, rep.RetryAt, r.tries, f)))
		}
		return failed
	}
	var failed error
	for _, r := range run.kept {
		rep.Refused++
		failed = errors.Join(failed, moved(d.refused(now, r.message, r.e, r.f)))
	}
	return failed
}

// moved passes over a message that a technician or another daemon took meanwhile.
func moved(err error) error {
	if errors.Is(err, loops.ErrConflict) {
		return nil
	}
	return err
}
