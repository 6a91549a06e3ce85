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
	// MarkAttempt counts an attempt begun at the instant and moves NextAttempt,
	// before the transport is spoken to.
	MarkAttempt(key loops.MessageKey, at, next time.Time) error
	MarkDelivered(key loops.MessageKey, at time.Time) error
	// MarkDeferred sets Attempts, NextAttempt and LastError of a message that
	// stays queued.
	MarkDeferred(key loops.MessageKey, next time.Time, attempts int, reason string) error
	MarkRefused(key loops.MessageKey, at time.Time, reason string) error
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

// transport speaks one conversation about one message.
type transport interface {
	Send(ctx context.Context, env Envelope, raw []byte) error
	// End closes what was kept open for the next message.
	End()
}

// Deliverer walks the outbox. Its guarantee: a queued message is offered to the
// transport until it is accepted, refused for good, given up by the plan or
// pointless; a crash or a lost reply costs at most one extra copy, with the
// same Message-ID. One delivery runs at a time; another waits for its end.
type Deliverer struct {
	box       outbox
	sign      signer
	transport transport
	plan      RetryPlan
	verp      *ReturnPath
	turn      chan struct{} // holds one token while a delivery runs
}

// NewDeliverer makes a deliverer. A nil signer, not a nil pointer to one, sends
// letters unsigned; a nil return path lets failed mail come back to the address
// it is from.
func NewDeliverer(box outbox, sign signer, t transport, plan RetryPlan, verp *ReturnPath) (*Deliverer, error) {
	if err := plan.Validate(); err != nil {
		return nil, err
	}
	return &Deliverer{box, sign, t, plan, verp, make(chan struct{}, 1)}, nil
}

// Report counts what one delivery did.
type Report struct {
	Delivered, Deferred, Refused, Expired int
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
	var faults error // of single messages; the others still go
	for {
		due, err := d.box.NextQueued(now, batch)
		if err != nil {
			return rep, errors.Join(faults, fmt.Errorf("deliver: %w", err))
		}
		if len(due) == 0 {
			return rep, faults
		}
		for _, m := range due {
			if err := ctx.Err(); err != nil {
				return rep, errors.Join(faults, fmt.Errorf("deliver: %w", err))
			}
			fault, err := d.one(ctx, now, m, &rep)
			if err != nil {
				return rep, errors.Join(faults, fmt.Errorf("deliver: message %s: %w", m.Key, err))
			}
			if fault != nil {
				faults = errors.Join(faults, fmt.Errorf("deliver: message %s: %w", m.Key, fault))
			}
			if rep.RelayFault != nil {
				return rep, faults
			}
		}
	}
}

// one offers one message. A fault is this message's own and leaves it queued;
// an error ends the delivery.
func (d *Deliverer) one(ctx context.Context, now time.Time, m loops.Message, rep *Report) (fault, err error) {
	if !m.PointlessAfter.IsZero() && now.After(m.PointlessAfter) {
		rep.Expired++
		return nil, d.box.MarkExpired(m.Key, now, pointless(m))
	}
	switch x, err := d.box.Suppression(m.To); {
	case err == nil:
		rep.Refused++
		return nil, d.box.MarkRefused(m.Key, now, "not sent: nothing goes to this address since "+x.Since.Format("2 Jan 2006")+": "+x.Reason)
	case !errors.Is(err, loops.ErrNotFound):
		return nil, err
	}
	attempt := m.Attempts + 1
	wait, more := d.plan.After(attempt)
	if !more {
		// The last attempt still gets its chance; the wait only covers a crash
		// in the middle of it.
		wait = d.plan[len(d.plan)-1]
	}
	raw := m.Raw
	if d.sign != nil {
		if raw, err = d.sign.Sign(m.Raw); err != nil {
			rep.Deferred++
			return err, d.box.MarkDeferred(m.Key, now.Add(wait), m.Attempts, err.Error())
		}
	}
	if err := d.box.MarkAttempt(m.Key, now, now.Add(wait)); err != nil {
		return nil, err
	}
	sendCtx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	sendErr := d.transport.Send(sendCtx, d.envelope(m), raw)
	if ctx.Err() != nil && sendErr != nil {
		// We cut the line ourselves: the attempt is on record, nothing is known.
		return nil, ctx.Err()
	}
	return nil, d.record(now, m, attempt, wait, more, sendErr, rep)
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
func (d *Deliverer) refused(now time.Time, m loops.Message, e *SendError, reason string) error {
	if err := d.box.MarkRefused(m.Key, now, reason); err != nil || !e.Address {
		return err
	}
	inARow, err := d.box.RefusedInARow(m.To)
	if err != nil || !Suppresses(e.Status, inARow) {
		return err
	}
	return d.box.Suppress(loops.Suppression{Address: m.To, Reason: reason, Since: now}, suppressor)
}

// suppressor is who the audit names for addresses that mail does not reach.
const suppressor = "deliverer"

// record writes the outcome of an attempt.
func (d *Deliverer) record(now time.Time, m loops.Message, attempt int, wait time.Duration, more bool, sendErr error, rep *Report) error {
	if sendErr == nil {
		rep.Delivered++
		return d.box.MarkDelivered(m.Key, now)
	}
	e := &SendError{Temporary: true, Err: sendErr}
	errors.As(sendErr, &e)
	reason := shortened(e.Error(), 500)
	switch {
	case e.RelayFault:
		rep.RelayFault, rep.RetryAt = e, now.Add(relayPause)
		// Not the message's fault: the attempt does not count against its plan.
		return d.box.MarkDeferred(m.Key, rep.RetryAt, m.Attempts, reason)
	case !e.Temporary:
		rep.Refused++
		return d.refused(now, m, e, reason)
	case !more:
		rep.Expired++
		return d.box.MarkExpired(m.Key, now, fmt.Sprintf("given up after %d attempts; the last: %s", attempt, reason))
	}
	rep.Deferred++
	return d.box.MarkDeferred(m.Key, now.Add(wait), attempt, reason)
}

func pointless(m loops.Message) string {
	note := "not sent: after " + m.PointlessAfter.UTC().Format("Mon 2 Jan 2006 15:04 MST") + " it would no longer have helped"
	if m.LastError != "" {
		note += "; until then: " + m.LastError
	}
	return note
}
