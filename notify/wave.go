// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"fillmark/loops"
)

// wave is messages that leave one after the other while two commits serve them
// all: one before the first leaves, that attempts begin, one after the last, that
// they arrived. Each is true at its own first byte all the same: once anything
// else was written, those that have not left go back to the queue and are judged
// again.
type wave struct {
	*Deliverer
	now   time.Time
	began time.Time // the run, by the machine's clock
	run   *breaker
	rep   *Report
	// faults are of single messages; the others still go.
	faults error
	// slow tells that the next wave is to be of one message.
	slow bool
}

// leaving is one message of a wave.
type leaving struct {
	queued loops.Message // as it stands in the queue
	is     loops.Message // as it is to leave
	try    attempt
	raw    []byte // what the wire is to carry, the signature in front; nil before it is signed
}

const (
	// largestWave bounds how many messages a kill leaves in doubt, each of which
	// may arrive once more.
	largestWave = 32
	// quickWave is within which a wave leaves that a larger one may follow.
	quickWave = 100 * time.Millisecond
	// oldWave is after which what was judged together has waited too long.
	oldWave = time.Second
)

// apart takes the first messages of the queue off, at most so many and no two
// for one owner or address: what becomes of one decides about the next.
func apart(due []loops.Message, most int) (together, rest []loops.Message) {
	for i, m := range due {
		if len(together) >= most {
			return together, append(rest, due[i:]...)
		}
		if slices.ContainsFunc(together, func(x loops.Message) bool { return x.To == m.To || m.Owner != 0 && x.Owner == m.Owner }) {
			rest = append(rest, m)
			continue
		}
		together = append(together, m)
	}
	return together, rest
}

// next is the size of the wave after one of that size.
func (w *wave) next(size int) int {
	if w.slow {
		return 1
	}
	return min(2*size, largestWave)
}

// deliver offers the messages. An error ends the delivery.
func (w *wave) deliver(ctx context.Context, due []loops.Message) error {
	began := time.Now()
	all, err := w.ready(due)
	if err != nil || len(all) == 0 {
		return err
	}
	if err := w.open(ctx); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		w.slow = true
		return w.record(all[0].queued, all[0].try, err)
	}
	all, left, err := w.begin(all)
	if err != nil || len(all) == 0 {
		return err
	}
	arrived, rest, err := w.offer(ctx, all, left, began)
	w.slow = len(rest) > 0 || time.Since(began) > quickWave
	return errors.Join(err, w.delivered(left.Write, arrived), w.notBegun(left.Write, rest))
}

// ready takes out what is not to be offered at all.
func (w *wave) ready(due []loops.Message) (all []*leaving, err error) {
	for _, m := range due {
		if !m.PointlessAfter.IsZero() && w.now.After(m.PointlessAfter) && !w.renewed(m) {
			w.rep.Expired++
			if err := w.box.MarkExpired(m.Key, m.Claim, w.now, pointless(m)); err != nil {
				return nil, of(m, err)
			}
			continue
		}
		try := w.attempt(m)
		if w.run.gone[m.To] {
			if err := w.keep(w.run, w.now, m, &SendError{}, loops.Failure{Reason: "not sent: the address was refused just before", Unsure: try.unsure}, try); err != nil {
				return nil, of(m, err)
			}
			continue
		}
		all = append(all, &leaving{queued: m, is: m, try: try})
	}
	return all, nil
}

// of names the message that an error is about.
func of(m loops.Message, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("message %s: %w", m.Key, err)
}

// open opens a line for the next message.
func (w *wave) open(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	return w.transport.Open(ctx)
}

// judgedAgain is how often messages are judged again because something was
// written in between, before they are tried one by one, or wait for the next
// round.
const judgedAgain = 20

// begin judges the messages by the register as it is, signs them, and records
// that attempts begin with what is to leave. It returns those, and the state of
// the register that they were judged by and that this leaves.
func (w *wave) begin(all []*leaving) ([]*leaving, loops.StoreRevision, error) {
	for range judgedAgain {
		staying, seen, err := w.judge(all)
		all = staying
		if err == nil && len(all) > 0 {
			if all, err = w.sign(all); err == nil && len(all) > 0 {
				var left loops.StoreRevision
				if left, err = w.box.MarkAttempts(attempts(all), seen, w.now); err == nil {
					for _, l := range all {
						l.is.Claim = left.Write
					}
					return all, left, nil
				}
			}
		}
		if errors.Is(err, loops.ErrRepeated) { // another daemon has taken one of them
			if len(all) == 1 {
				return nil, seen, nil
			}
			break
		}
		if !errors.Is(err, loops.ErrConflict) {
			return nil, seen, err
		}
	}
	if len(all) > 1 {
		w.slow = true
		return w.begin(all[:1]) // one of them cannot be settled: the others stay in the queue
	}
	l := all[0]
	w.rep.Deferred++
	return nil, loops.StoreRevision{}, of(l.queued, w.box.MarkDeferred(l.queued.Key, l.queued.Claim, w.now.Add(time.Minute), l.queued.Attempts, loops.Failure{
		Reason: "not sent yet: the register was written to all the while", Unsure: l.try.unsure}))
}

func attempts(all []*leaving) []loops.Attempt {
	out := make([]loops.Attempt, len(all))
	for i, l := range all {
		out[i] = loops.Attempt{Message: l.is, Next: l.try.taken}
	}
	return out
}

// judge asks the register about each; those that are not to leave now are put on
// record and left out. loops.ErrConflict tells that it was written to meanwhile.
func (w *wave) judge(all []*leaving) (staying []*leaving, seen loops.StoreRevision, err error) {
	for i, l := range all {
		at, stays, err := w.judgeOne(l)
		if stays {
			staying = append(staying, l)
		}
		if err != nil {
			return append(staying, all[i+1:]...), seen, of(l.queued, err)
		}
		if stays && len(staying) == 1 {
			seen = at
		}
		if stays && at != seen {
			return append(staying, all[i+1:]...), seen, fmt.Errorf("written to meanwhile: %w", loops.ErrConflict)
		}
	}
	return staying, seen, nil
}

// judgeOne is judge of one message.
func (w *wave) judgeOne(l *leaving) (seen loops.StoreRevision, stays bool, err error) {
	review := Review{Message: l.queued}
	if w.truth != nil {
		if review, err = w.truth.Review(l.queued, w.now); err != nil {
			// Where it cannot be judged it stays; the others still go.
			return seen, false, w.putOff(l, err, shortened(oneLine("cannot be judged: "+err.Error()), 500))
		}
	}
	if review.Withdrawn != "" {
		err := w.box.MarkWithdrawn(l.queued.Key, review.Seen, w.now, review.Withdrawn, review.Instead)
		if err == nil {
			w.rep.Withdrawn++
		}
		return seen, errors.Is(err, loops.ErrConflict), err
	}
	if !bytes.Equal(l.is.Raw, review.Message.Raw) {
		l.raw = nil // another letter, another signature
	}
	signature := l.is.Signature
	l.is = review.Message
	if l.raw != nil {
		l.is.Signature = signature
	}
	switch x, err := w.box.Suppression(l.is.To); {
	case err == nil:
		w.rep.Refused++
		return seen, false, w.box.MarkRefused(l.is.Key, l.queued.Claim, w.now, loops.Failure{
			Reason: "not sent: nothing goes to this address since " + x.Since.Format("2 Jan 2006") + ": " + x.Reason, Status: x.Status})
	case !errors.Is(err, loops.ErrNotFound):
		return seen, false, err
	}
	return review.Seen, true, nil
}

// putOff leaves a message in the queue for a fault of its own.
func (w *wave) putOff(l *leaving, fault error, why string) error {
	w.faults = errors.Join(w.faults, fmt.Errorf("deliver: %w", of(l.queued, fault)))
	w.rep.Deferred++
	return w.box.MarkDeferred(l.queued.Key, l.queued.Claim, l.try.next, l.queued.Attempts, loops.Failure{Reason: why, Unsure: l.try.unsure})
}

// sign signs the messages, on all processors at once, and leaves out those that
// cannot be signed.
func (w *wave) sign(all []*leaving) (signed []*leaving, err error) {
	faults := make([]error, len(all))
	var signing sync.WaitGroup
	for i, l := range all {
		if l.raw == nil {
			signing.Go(func() { l.raw, l.is.Signature, faults[i] = w.signed(l.is, l.try) })
		}
	}
	signing.Wait()
	for i, l := range all {
		if faults[i] == nil {
			signed = append(signed, l)
		} else if err := w.putOff(l, faults[i], faults[i].Error()); err != nil {
			return nil, of(l.queued, err)
		}
	}
	return signed, nil
}

// signed puts the signature in front, which holds the present time: one that may
// have left stays as it was.
func (d *Deliverer) signed(m loops.Message, try attempt) (raw, signature []byte, err error) {
	switch {
	case try.unsure && len(m.Signature) > 0:
		return slices.Concat(m.Signature, m.Raw), m.Signature, nil
	case d.sign == nil || try.unsure:
		return m.Raw, nil, nil // as it left, where it did
	}
	if raw, err = d.sign.Sign(m.Raw); err != nil {
		return nil, nil, err
	}
	return raw, raw[:len(raw)-len(m.Raw)], nil
}

// offer sends the messages in turn for as long as the register says what they
// were judged by. It returns those that arrived and those that were not begun.
func (w *wave) offer(ctx context.Context, all []*leaving, left loops.StoreRevision, began time.Time) (arrived []loops.MessageKey, rest []*leaving, err error) {
	for i, l := range all {
		rest = all[i+1:]
		if i > 0 {
			if ctx.Err() != nil || w.rep.RelayFault != nil || w.run.tripped(breakerAtOnce) {
				return arrived, all[i:], nil
			}
			if err := w.open(ctx); err != nil {
				if ctx.Err() != nil {
					return arrived, all[i:], nil
				}
				return arrived, rest, of(l.is, w.record(l.is, l.try, err))
			}
			if now, err := w.box.Revision(); err != nil || now != left || time.Since(began) > oldWave {
				return arrived, all[i:], of(l.is, err)
			}
		}
		sendErr := w.send(ctx, l)
		if ctx.Err() != nil && !answered(sendErr) {
			// We cut the line ourselves: the attempt is on record, nothing is known.
			return arrived, rest, ctx.Err()
		}
		if sendErr == nil {
			w.run.tried[l.is.To] = true
			w.rep.Delivered++
			arrived = append(arrived, l.is.Key)
			continue
		}
		if err := w.record(l.is, l.try, sendErr); err != nil {
			return arrived, rest, of(l.is, err)
		}
	}
	return arrived, nil, nil
}

func (w *wave) send(ctx context.Context, l *leaving) error {
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	return w.transport.Send(ctx, w.envelope(l.is), l.raw)
}

// delivered records what arrived: together, or one by one where that fails for
// one of them.
func (w *wave) delivered(claim uint64, keys []loops.MessageKey) error {
	if len(keys) == 0 {
		return nil
	}
	err := w.box.MarkDelivered(w.now, claim, keys...)
	if err == nil || len(keys) == 1 {
		return err
	}
	err = nil
	for _, key := range keys {
		if failed := w.box.MarkDelivered(w.now, claim, key); failed != nil {
			err = errors.Join(err, fmt.Errorf("message %s: %w", key, failed))
		}
	}
	return err
}

// notBegun puts messages of which nothing left back into the queue as they stood.
func (w *wave) notBegun(claim uint64, rest []*leaving) error {
	if len(rest) == 0 {
		return nil
	}
	all := make([]loops.Message, len(rest))
	for i, l := range rest {
		all[i] = l.queued
	}
	return w.box.MarkNotBegun(claim, all)
}
