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

// outbox is what the deliverer needs of the store. Each call is one durable
// transaction. All but NextQueued name a message that is queued; MarkDelivered,
// MarkRefused and MarkExpired take it out of the queue.
type outbox interface {
	// NextQueued returns at most limit queued messages whose NextAttempt is not
	// after now, the earliest NextAttempt first.
	NextQueued(now time.Time, limit int) ([]loops.Message, error)
	// MarkAttempt records the message as it is about to leave, counts an attempt
	// begun at the instant and moves NextAttempt, before anything of it is sent.
	// It gives loops.ErrConflict where seen is set and the register was written
	// since, and loops.ErrRepeated where the message is not as m any more: then
	// another daemon has it.
	MarkAttempt(m loops.Message, seen loops.StoreRevision, at, next time.Time) error
	// MarkWithdrawn takes the message out of the queue, under the same
	// condition, and puts the other one in where there is one.
	MarkWithdrawn(key loops.MessageKey, seen loops.StoreRevision, at time.Time, why string, instead *loops.Message) error
	MarkDelivered(key loops.MessageKey, at time.Time) error
	// MarkDeferred sets Attempts, NextAttempt and LastError of a message that
	// stays queued.
	MarkDeferred(key loops.MessageKey, next time.Time, attempts int, f loops.Failure) error
	MarkRefused(key loops.MessageKey, at time.Time, f loops.Failure) error
	MarkHeld(key loops.MessageKey, at time.Time, f loops.Failure) error
	MarkExpired(key loops.MessageKey, at time.Time, reason string) error
	// Suppression returns why nothing is sent to the address, or
	// loops.ErrNotFound.
	Suppression(address string) (loops.Suppression, error)
	Suppress(x loops.Suppression, by string) error
	// RefusedInARow counts the messages to the address that were refused since
	// the last one that was delivered.
	RefusedInARow(address string) (int, error)
}

// signer turns the bytes of a message into signed bytes.
type signer interface {
	Sign(raw []byte) ([]byte, error)
}

// Review is what is to become of a message by what the register says now.
type Review struct {
	// Message is the letter as it is to leave, with the same key.
	Message loops.Message
	// Withdrawn says why it is not to leave at all; empty where it is.
	Withdrawn string
	// Instead is a letter that takes the place of a withdrawn one whose fate is
	// not known; nil for none.
	Instead *loops.Message
	// Seen is the state of the register that this was judged by.
	Seen loops.StoreRevision
}

// truth judges a message by the register, before each attempt.
type truth interface {
	Review(m loops.Message, now time.Time) (Review, error)
}

// transport speaks one conversation about one message.
type transport interface {
	// Open does all that comes before the message's own first byte.
	Open(ctx context.Context) error
	Send(ctx context.Context, env Envelope, raw []byte) error
	// End closes what was kept open for the next message.
	End()
}

// Deliverer walks the outbox. Its guarantee: a queued message is offered to the
// transport until it is accepted, refused for good, given up by the plan,
// pointless or untrue; a crash or a lost reply costs at most one extra copy,
// with the same bytes. One delivery runs at a time; another waits for its end.
type Deliverer struct {
	box       outbox
	truth     truth
	sign      signer
	transport transport
	plan      RetryPlan
	verp      *ReturnPath
	turn      chan struct{} // holds one token while a delivery runs
}

// NewDeliverer makes a deliverer. A nil truth, not a nil pointer to one, sends
// letters as they were written; a nil signer sends them unsigned; a nil return
// path lets failed mail come back to the address it is from.
func NewDeliverer(box outbox, about truth, sign signer, t transport, plan RetryPlan, verp *ReturnPath) (*Deliverer, error) {
	if err := plan.Validate(); err != nil {
		return nil, err
	}
	return &Deliverer{box, about, sign, t, plan, verp, make(chan struct{}, 1)}, nil
}

// Report counts what one delivery did.
type Report struct {
	Delivered, Deferred, Refused, Expired, Withdrawn, Held int
	// RelayFault is why the delivery stopped early and held the rest; nil where
	// the transport worked. RetryAt is when to try it again.
	RelayFault error
	RetryAt    time.Time
}

const (
	// batch is how many messages are read at a time, so that a long queue does
	// not stand in memory.
	batch = 50
	// sendTimeout bounds one conversation as a whole, well above the sum of
	// what an honest slow relay needs.
	sendTimeout = 20 * time.Minute
	// lostReplies is after how many lost replies a message is held.
	lostReplies = 3
	// relayPause is how long the relay is left alone after a fault.
	relayPause = 15 * time.Minute
)

// Deliver offers every message that is due at now to the transport, until none
// is left, the relay fails, or ctx ends. Every instant it records is now.
//
// An error is the store's, the signer's or the context's; what the transport
// refuses is counted in the report and recorded with the message.
func (d *Deliverer) Deliver(ctx context.Context, now time.Time) (Report, error) {
	var rep Report
	select {
	case d.turn <- struct{}{}:
		defer func() { <-d.turn }()
	case <-ctx.Done():
		return rep, fmt.Errorf("deliver: %w", ctx.Err())
	}
	defer d.transport.End()
	run := newBreaker()
	err := d.run(ctx, now, run, &rep)
	return rep, errors.Join(err, d.settle(run, now, &rep))
}

// run offers what is due, until none is left or the relay fails.
func (d *Deliverer) run(ctx context.Context, now time.Time, run *breaker, rep *Report) error {
	var faults error // of single messages; the others still go
	for {
		due, err := d.box.NextQueued(now, batch)
		if err != nil {
			return errors.Join(faults, fmt.Errorf("deliver: %w", err))
		}
		if len(due) == 0 {
			return faults
		}
		for _, m := range due {
			if err := ctx.Err(); err != nil {
				return errors.Join(faults, fmt.Errorf("deliver: %w", err))
			}
			fault, err := d.one(ctx, now, m, run, rep)
			if err != nil {
				return errors.Join(faults, fmt.Errorf("deliver: message %s: %w", m.Key, err))
			}
			if fault != nil {
				faults = errors.Join(faults, fmt.Errorf("deliver: message %s: %w", m.Key, fault))
			}
			if rep.RelayFault != nil || run.tripped(breakerAtOnce) {
				return faults
			}
		}
	}
}

// one offers one message. A fault is this message's own and leaves it queued;
// an error ends the delivery.
func (d *Deliverer) one(ctx context.Context, now time.Time, m loops.Message, run *breaker, rep *Report) (fault, err error) {
	if !m.PointlessAfter.IsZero() && now.After(m.PointlessAfter) && !d.renewed(m) {
		rep.Expired++
		return nil, d.box.MarkExpired(m.Key, now, pointless(m))
	}
	sendCtx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	try := attempt{count: m.Attempts + 1, unsure: m.Unsure}
	try.wait, try.more = d.plan.After(try.count)
	if !try.more {
		// The last attempt still gets its chance; the wait only covers a crash
		// in the middle of it.
		try.wait = d.plan[len(d.plan)-1]
	}
	if run.gone[m.To] {
		return nil, d.keep(run, now, m, &SendError{}, loops.Failure{Reason: "not sent: the address was refused just before", Unsure: try.unsure}, try)
	}
	if err := d.transport.Open(sendCtx); err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, d.record(now, m, try, err, run, rep)
	}
	raw, fault, err := d.begin(now, &m, try, rep)
	if raw == nil || fault != nil || err != nil {
		return fault, err
	}
	sendErr := d.transport.Send(sendCtx, d.envelope(m), raw)
	if ctx.Err() != nil && !answered(sendErr) {
		// We cut the line ourselves: the attempt is on record, nothing is known.
		return nil, ctx.Err()
	}
	return nil, d.record(now, m, try, sendErr, run, rep)
}

// renewed tells that the letter is written for the day on which it leaves, so
// that it never comes too late.
func (d *Deliverer) renewed(m loops.Message) bool {
	return d.truth != nil && m.Purpose == loops.PurposeReminder && !m.Unsure
}

// attempt is one try at handing a message over.
type attempt struct {
	count int           // from 1
	wait  time.Duration // until the next
	more  bool          // whether there is a next
	// unsure tells that an earlier one may have succeeded.
	unsure bool
}

// judgedAgain is how often a message is judged again because something was
// written in between, before it waits for the next round.
const judgedAgain = 20

// begin judges the message by the register as it is, and records that an attempt
// begins with what is to leave: m, and raw with its signature. Raw is nil where
// nothing is to leave now.
func (d *Deliverer) begin(now time.Time, m *loops.Message, try attempt, rep *Report) (raw []byte, fault, err error) {
	queued := *m
	for range judgedAgain {
		raw, fault, err = d.judged(now, queued, m, try, rep)
		if errors.Is(err, loops.ErrRepeated) {
			return nil, nil, nil // another daemon has taken it
		}
		if !errors.Is(err, loops.ErrConflict) {
			return raw, fault, err
		}
	}
	rep.Deferred++
	return nil, nil, d.box.MarkDeferred(m.Key, now.Add(time.Minute), m.Attempts, loops.Failure{
		Reason: "not sent yet: the register was written to all the while", Unsure: try.unsure})
}

// judged is begin once; loops.ErrConflict tells that the register was written
// meanwhile.
func (d *Deliverer) judged(now time.Time, queued loops.Message, m *loops.Message, try attempt, rep *Report) (raw []byte, fault, err error) {
	review := Review{Message: queued}
	if d.truth != nil {
		if review, err = d.truth.Review(queued, now); err != nil {
			// Where it cannot be judged it stays; the others still go.
			rep.Deferred++
			return nil, err, d.box.MarkDeferred(queued.Key, now.Add(try.wait), queued.Attempts, loops.Failure{
				Reason: shortened(oneLine("cannot be judged: "+err.Error()), 500), Unsure: try.unsure})
		}
	}
	*m = review.Message
	if review.Withdrawn != "" {
		if err = d.box.MarkWithdrawn(m.Key, review.Seen, now, review.Withdrawn, review.Instead); err == nil {
			rep.Withdrawn++
		}
		return nil, nil, err
	}
	switch x, err := d.box.Suppression(m.To); {
	case err == nil:
		rep.Refused++
		return nil, nil, d.box.MarkRefused(m.Key, now, loops.Failure{
			Reason: "not sent: nothing goes to this address since " + x.Since.Format("2 Jan 2006") + ": " + x.Reason, Status: x.Status})
	case !errors.Is(err, loops.ErrNotFound):
		return nil, nil, err
	}
	if raw, m.Signature, err = d.signed(*m, try); err != nil {
		rep.Deferred++
		return nil, err, d.box.MarkDeferred(m.Key, now.Add(try.wait), queued.Attempts, loops.Failure{Reason: err.Error(), Unsure: try.unsure})
	}
	return raw, nil, d.box.MarkAttempt(*m, review.Seen, now, now.Add(try.wait))
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

// answered tells that the other side said what became of the message.
func answered(sendErr error) bool {
	var e *SendError
	return sendErr == nil || errors.As(sendErr, &e) && e.Code != 0
}

func (d *Deliverer) envelope(m loops.Message) Envelope {
	env := Envelope{From: m.From, To: m.To}
	if d.verp != nil {
		env.From = d.verp.For(m.Key)
	}
	return env
}

// refused takes the message out of the queue, and its address off the list
// where the rules say so.
func (d *Deliverer) refused(now time.Time, m loops.Message, e *SendError, f loops.Failure) error {
	if err := d.box.MarkRefused(m.Key, now, f); err != nil || !e.Address || m.Purpose == loops.PurposeCanary {
		return err // our own mailbox is nobody to give up: that it refuses is what the letter is to show
	}
	inARow, err := d.box.RefusedInARow(m.To)
	if err != nil || !Suppresses(e.Status, inARow) {
		return err
	}
	return d.box.Suppress(loops.Suppression{Address: m.To, Reason: f.Reason, Status: e.Status, Since: now}, suppressor)
}

// suppressor is who the audit names for addresses that mail does not reach.
const suppressor = "deliverer"

// record writes the outcome of an attempt.
func (d *Deliverer) record(now time.Time, m loops.Message, try attempt, sendErr error, run *breaker, rep *Report) error {
	run.tried[m.To] = true
	if sendErr == nil {
		rep.Delivered++
		return d.box.MarkDelivered(m.Key, now)
	}
	e := &SendError{Temporary: true, Unsure: true, Err: sendErr} // nobody knows what an unknown failure left behind
	errors.As(sendErr, &e)
	f := e.failure()
	f.Unsure = f.Unsure || try.unsure
	switch {
	case e.RelayFault:
		delete(run.tried, m.To) // nobody was asked about this recipient
		rep.Deferred++
		rep.RelayFault, rep.RetryAt = e, now.Add(relayPause)
		// Not the message's fault: the attempt does not count against its plan.
		return d.box.MarkDeferred(m.Key, rep.RetryAt, try.count-1, f)
	case !e.Temporary:
		return d.keep(run, now, m, e, f, try)
	case e.Unsure && m.Lost+1 >= lostReplies:
		rep.Held++
		f.Reason = fmt.Sprintf("held: its reply was lost %d times, so whom it is for may have as many copies; release sends one more: %s", m.Lost+1, f.Reason)
		return d.box.MarkHeld(m.Key, now, f)
	case !try.more:
		rep.Expired++
		return d.box.MarkExpired(m.Key, now, fmt.Sprintf("given up after %d attempts; the last: %s", try.count, f.Reason))
	}
	rep.Deferred++
	return d.box.MarkDeferred(m.Key, now.Add(try.wait), try.count, f)
}

func pointless(m loops.Message) string {
	note := "not sent: after " + m.PointlessAfter.UTC().Format("Mon 2 Jan 2006 15:04 MST") + " it would no longer have helped"
	if m.LastError != "" {
		note += "; until then: " + m.LastError
	}
	return note
}
