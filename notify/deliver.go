// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"context"
	"errors"
	"fmt"
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
	// Revision tells states of the register apart.
	Revision() (loops.StoreRevision, error)
	// MarkAttempts records the messages as they are about to leave, counts an
	// attempt at each, begun at the instant, and moves NextAttempt, before anything
	// of them is sent; all in one, or none. It returns the revision that this
	// leaves, and loops.ErrConflict where seen is set and the register was written
	// since, loops.ErrRepeated where a message is not as given any more: then
	// another daemon has it. What arrived before is recorded along with it.
	MarkAttempts(all []loops.Attempt, seen loops.StoreRevision, at time.Time, arrived ...loops.Arrival) (loops.StoreRevision, error)
	// MarkNotBegun takes that back for messages of which nothing left.
	MarkNotBegun(claim uint64, all []loops.Message) error
	// MarkWithdrawn takes the message out of the queue, under the same
	// condition, and puts the other one in where there is one.
	MarkWithdrawn(key loops.MessageKey, seen loops.StoreRevision, at time.Time, why string, instead *loops.Message) error
	// MarkDelivered and those below put down how an attempt ended: loops.ErrRepeated
	// where another one, of a later claim, has begun.
	MarkDelivered(at time.Time, claim uint64, keys ...loops.MessageKey) error
	// MarkDeferred sets Attempts, NextAttempt and LastError of a message that
	// stays queued.
	MarkDeferred(key loops.MessageKey, claim uint64, next time.Time, attempts int, f loops.Failure) error
	MarkRefused(key loops.MessageKey, claim uint64, at time.Time, f loops.Failure) error
	MarkHeld(key loops.MessageKey, claim uint64, at time.Time, f loops.Failure) error
	MarkExpired(key loops.MessageKey, claim uint64, at time.Time, reason string) error
	// Suppression returns why nothing is sent to the address, or
	// loops.ErrNotFound.
	Suppression(address string) (loops.Suppression, error)
	Suppress(x loops.Suppression, by string) error
	// RefusedInARow counts the messages to the address that were refused since
	// the last one that was delivered.
	RefusedInARow(address string) (int, error)
	// RefusedByRelay lists the messages, to whomever, that the relay refused since
	// it last took one; TakeBack and Unsuppress undo what followed.
	RefusedByRelay() ([]loops.Message, error)
	TakeBack(key loops.MessageKey, by string, at, next time.Time) error
	// TookSince tells whether the relay took a letter after the instant for anybody
	// but the address, our letters to ourselves left out.
	TookSince(at time.Time, besides string) (bool, error)
	Unsuppress(address, by string, at time.Time) error
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
}

// truth judges a message by the register, before each attempt. It is asked by
// several goroutines.
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
// pointless or untrue; a crash or a lost reply costs at most one extra copy of it,
// with the same bytes. One delivery runs at a time; another waits for its end.
type Deliverer struct {
	box       outbox
	truth     truth
	sign      signer
	transport transport
	plan      RetryPlan
	verp      *ReturnPath
	turn      chan struct{} // holds one token while a delivery runs
	shared    bool
}

// Share says that other daemons deliver from the same outbox: a message is theirs
// no sooner than the longest conversation about it can have ended, whatever the
// plan and by how much their clocks differ from this one.
func (d *Deliverer) Share() { d.shared = true }

// NewDeliverer makes a deliverer. A nil truth, not a nil pointer to one, sends
// letters as they were written; a nil signer sends them unsigned; a nil return
// path lets failed mail come back to the address it is from.
func NewDeliverer(box outbox, about truth, sign signer, t transport, plan RetryPlan, verp *ReturnPath) (*Deliverer, error) {
	if err := plan.Validate(); err != nil {
		return nil, err
	}
	return &Deliverer{box: box, truth: about, sign: sign, transport: t, plan: plan, verp: verp, turn: make(chan struct{}, 1)}, nil
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
	// sendTimeout bounds one conversation as a whole, well above the sum of
	// what an honest slow relay needs.
	sendTimeout = 20 * time.Minute
	// clockSkew is by how much the clocks of two daemons may differ, and some.
	clockSkew = 2 * time.Minute
	// lostReplies is after how many lost replies a message is held.
	lostReplies = 3
	// relayPause is how long the relay is left alone after a fault.
	relayPause = 15 * time.Minute
)

// Deliver offers every message that is due at now to the transport, until none
// is left, the relay fails, or ctx ends. Every instant it records is now, and as many
// minutes later as it has gone on for.
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
	w := &delivery{Deliverer: d, now: now, began: time.Now(), run: newBreaker(), rep: &rep, size: 1}
	err := w.walk(ctx)
	if err != nil {
		err = fmt.Errorf("deliver: %w", err)
	}
	return rep, errors.Join(w.faults, err, w.conclude())
}

// clock is the present instant, to the minute since the run began: one that goes on
// past midnight writes letters of the new day.
func (w *delivery) clock() time.Time { return w.now.Add(time.Since(w.began).Truncate(time.Minute)) }

// tally counts an outcome once it is on record.
func tally(n *int, err error) error {
	if err == nil {
		*n++
	}
	return err
}

// renewed tells that the letter is written for the day on which it leaves, so
// that it never comes too late.
func (d *Deliverer) renewed(m loops.Message) bool {
	return d.truth != nil && m.Purpose == loops.PurposeReminder && !m.Unsure
}

// attempt is one try at handing a message over.
type attempt struct {
	count int       // from 1
	next  time.Time // when it would be tried again
	taken time.Time // until then it is nobody else's
	more  bool      // whether the plan has a next one
	// unsure tells that an earlier one may have succeeded.
	unsure bool
}

// attempt is the next try at the message.
func (w *delivery) attempt(m loops.Message) attempt {
	try := attempt{count: m.Attempts + 1, unsure: m.Unsure}
	wait, more := w.plan.After(try.count)
	if !more {
		// The last attempt still gets its chance; the wait only covers a crash
		// in the middle of it.
		wait = w.plan[len(w.plan)-1]
	}
	// The run may have gone on for longer than the wait.
	try.next, try.more = w.clock().Add(wait), more
	try.taken = try.next
	if w.shared {
		try.taken = w.now.Add(time.Since(w.began) + max(wait, sendTimeout+clockSkew))
	}
	return try
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
func (w *delivery) refused(m loops.Message, e *SendError, f loops.Failure) error {
	now := w.clock()
	err := tally(&w.rep.Refused, w.box.MarkRefused(m.Key, m.Claim, now, f))
	if err != nil || !e.Address || m.Purpose == loops.PurposeCanary {
		return err // our own mailbox is nobody to give up: that it refuses is what the letter is to show
	}
	inARow, err := w.box.RefusedInARow(m.To)
	if err != nil || !Suppresses(e.Status, inARow) {
		return err
	}
	return w.box.Suppress(loops.Suppression{Address: m.To, Reason: f.Reason, Status: e.Status, Since: now}, suppressor)
}

// suppressor is who the audit names for addresses that mail does not reach.
const suppressor = "deliverer"

// record writes the outcome of an attempt.
func (w *delivery) record(m loops.Message, try attempt, sendErr error) error {
	w.run.tried[m.To] = true
	e := &SendError{Temporary: true, Unsure: true, Err: sendErr} // nobody knows what an unknown failure left behind
	errors.As(sendErr, &e)
	f := e.failure()
	f.Unsure = f.Unsure || try.unsure
	switch {
	case e.RelayFault:
		delete(w.run.tried, m.To) // nobody was asked about this recipient
		w.rep.RelayFault, w.rep.RetryAt = e, w.clock().Add(relayPause)
		// Not the message's fault: the attempt does not count against its plan.
		return tally(&w.rep.Deferred, w.box.MarkDeferred(m.Key, m.Claim, w.rep.RetryAt, try.count-1, f))
	case !e.Temporary:
		return w.keep(m, e, f, try)
	case e.Unsure && m.Lost+1 >= lostReplies:
		f.Reason = fmt.Sprintf("held: its reply was lost %d times, so whom it is for may have as many copies; release sends one more: %s", m.Lost+1, f.Reason)
		return tally(&w.rep.Held, w.box.MarkHeld(m.Key, m.Claim, w.clock(), f))
	case !try.more:
		return tally(&w.rep.Expired, w.box.MarkExpired(m.Key, m.Claim, w.clock(), fmt.Sprintf("given up after %d attempts; the last: %s", try.count, f.Reason)))
	}
	return tally(&w.rep.Deferred, w.box.MarkDeferred(m.Key, m.Claim, try.next, try.count, f))
}

func pointless(m loops.Message) string {
	note := "not sent: after " + m.PointlessAfter.UTC().Format("Mon 2 Jan 2006 15:04 MST") + " it would no longer have helped"
	if m.LastError != "" {
		note += "; until then: " + m.LastError
	}
	return note
}
