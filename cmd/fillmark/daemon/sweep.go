// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// round does what is due at the instant, given in the workshop's zone, unless the
// clock has just gone far ahead: everybody would be written to before anybody is told.
func (h *Service) round(ctx context.Context, log *slog.Logger, now time.Time) {
	if err := h.clock.look(now, h.passed()); err != nil {
		log.Error("nothing is done by the clock", "error", err)
		h.pulse.Swept(now, 0, err)
		return
	}
	// Its cost grows with the register, so once a day.
	if today := loops.DayOf(now, now.Location()); today != h.learnt && h.lead.leads() && h.learn(ctx, log, now) {
		h.learnt = today
	}
	h.sweepAndDeliver(ctx, log, now)
}

// learn works out again what openings teach. Openings do so as they are recorded;
// this finds what measurements, edits and imports changed. It returns false where
// nothing could be put down: the sweep says so.
func (h *Service) learn(ctx context.Context, log *slog.Logger, now time.Time) bool {
	renewed, err := h.led.Learn(ctx, workshop.Stamp{At: now.UTC(), By: "schedule"})
	switch {
	case loops.NoWrite(err), errors.Is(err, loops.ErrOvertaken):
		return false
	case err != nil && ctx.Err() == nil:
		log.Error("evidence not worked out", "error", err)
	case renewed > 0:
		log.Info("plans brought up to date", "loops", renewed)
	}
	return true
}

// sweepAndDeliver does what is due at the instant, one step after the other.
// Errors are for the log and for [web.Pulse], since the next round does what this
// one could not. What stands in the way of every write ends the round, so that
// it is said once.
func (h *Service) sweepAndDeliver(ctx context.Context, log *slog.Logger, now time.Time) {
	stamp := workshop.Stamp{At: now.UTC(), By: "schedule"}
	var swept workshop.Swept
	failed := func(what string, err error) error {
		if err = notOvertaken(err); err == nil || ctx.Err() != nil {
			return nil
		}
		log.Error(what+" failed", "error", err)
		return fmt.Errorf("%s: %w", what, err)
	}
	// What must happen once is left to one of several daemons.
	const each, once = false, true
	var faults []error
	for _, step := range []struct {
		what string
		once bool
		do   func() error
	}{
		{"register", each, h.Store.InPlace},
		{"sweep", once, func() (err error) { swept, err = h.led.Sweep(stamp); return err }},
		{"morning list", once, func() error { _, err := h.led.MailMorning(stamp); return err }},
		{"bounces", each, func() error { return h.readBounces(log, now) }},
		{"canary", once, func() error { _, err := h.led.MailCanary(stamp); return err }},
		{"old mail texts and keys", once, func() error { return h.forget(now) }},
	} {
		h.heart.beat()
		if step.once && !h.lead.leads() {
			continue
		}
		if err := failed(step.what, step.do()); err != nil {
			faults = append(faults, err)
			if loops.NoWrite(err) {
				h.pulse.Swept(now, len(swept.Reminders), err)
				return
			}
		}
	}
	h.pulse.Swept(now, len(swept.Reminders), errors.Join(faults...))
	report, err := h.deliver(ctx, now)
	h.pulse.Delivered(report, failed("delivery", err))
	if report.RelayFault != nil {
		log.Warn("the relay does not take mail; all of it waits", "error", report.RelayFault, "again_at", report.RetryAt)
	}
	if len(swept.Reminders) > 0 || report.Delivered > 0 || report.Refused > 0 || report.Expired > 0 {
		log.Info("swept", "reminders", len(swept.Reminders), "calls", swept.Calls, "delivered", report.Delivered, "refused", report.Refused, "expired", report.Expired)
	}
}

// bodiesKept is how long the texts of mail that is done with are kept; what it
// was and how it ended stays.
const bodiesKept = 180 * 24 * time.Hour

// actKeysKept is how long an act that is sent again with its key is known
// again.
const actKeysKept = 90 * 24 * time.Hour

// unnamedKept is how long a photo is kept that no history names: a page with a form
// that was sent, refused and not yet put right may stay open for days. It may also be
// what an erasure left that was cut off.
const unnamedKept = 7 * 24 * time.Hour

// forget deletes old mail texts and photos that nothing names, and forgets old keys
// of acts, once a day.
func (h *Service) forget(now time.Time) error {
	if now.Sub(h.forgot).Abs() < 24*time.Hour || !h.keeper.making.TryLock() { // a backup copies photos: the next round does it
		return nil
	}
	defer h.keeper.making.Unlock()
	h.forgot = now
	_, texts := h.ledStore.DeleteBodies(now.Add(-bodiesKept), "schedule", now.UTC())
	_, keys := h.ledStore.ForgetActKeys(now.Add(-actKeysKept))
	var unnamed error
	if h.lead == nil { // of several daemons none knows what another's form is about to name
		_, unnamed = h.Workshop.RemoveUnnamedPhotos(now.Add(-unnamedKept))
	}
	return errors.Join(texts, keys, unnamed)
}

// readBounces takes in the mail that came back since the last round.
func (h *Service) readBounces(log *slog.Logger, now time.Time) error {
	if h.bounces == nil {
		return nil
	}
	return h.bounces.Each(func(mail io.Reader) error {
		back, err := h.Workshop.Bounce(workshop.Stamp{At: now.UTC(), By: "bounces"}, mail)
		switch {
		case errors.Is(err, notify.ErrNotBounce), errors.Is(err, workshop.ErrForeignBounce):
			log.Info("mail in the bounce folder is no bounce of ours; it stays for a person to read", "why", loops.Visible(err.Error()))
		case err == nil && back.Canary:
			log.Info("our letter to ourselves came")
		case err == nil:
			log.Info("mail came back", "message", back.Message, "given_up", back.GivenUp)
		default:
			return err
		}
		return nil
	})
}
