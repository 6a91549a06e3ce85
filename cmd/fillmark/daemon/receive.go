// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"fillmark/cmd/fillmark/alarm"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/mailbox"
)

const (
	// mailEvery is how often the mailbox is looked into: an owner who stops the mail
	// does not wait longer.
	mailEvery = time.Minute
	// mailSince is how far back mail is read where none was read yet: as long as an
	// answer is good.
	mailSince = 120 * 24 * time.Hour
	// mailUnread is for how long it may be shut before that is an alarm: hosts have
	// their hours of maintenance. Common practice, no source.
	mailUnread = 2 * time.Hour
)

// reading is how the mailbox is read. It is safe for concurrent use.
type reading struct {
	mu    sync.Mutex
	good  time.Time // the last time that worked, or the first that was tried
	fault string    // why the last did not; empty where it did
	tried bool
}

// ended notes how one reading ended.
func (r *reading) ended(at time.Time, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fault = ""; err != nil {
		r.fault = loops.Visible(err.Error())
	}
	if err == nil || !r.tried {
		r.good = at
	}
	r.tried = true
}

// elsewhere notes that another daemon reads the mailbox: this one knows nothing of it.
func (r *reading) elsewhere() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.fault, r.tried = "", false
}

// last is how the last reading ended, and when the last one worked.
func (r *reading) last() (tried bool, fault string, good time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.tried, r.fault, r.good
}

// mailboxSource is red while the mailbox is not read: owners' answers wait in it,
// and they believe that they are heard.
func (h *Service) mailboxSource(name string, zone *time.Location) alarm.Source {
	return alarm.Source{Name: "mailbox", Check: func(now time.Time) (reason, remedy string) {
		tried, fault, good := h.reading.last()
		if !tried || now.Sub(good) < mailUnread {
			return "", ""
		}
		reason = "The mailbox " + name + " is not read since " + good.In(zone).Format("Mon 2 Jan 2006 15:04 MST") + "; what owners answer by mail waits in it."
		if fault != "" {
			reason += " " + fault + "."
		}
		return reason, "Look at address, folder, user and login in mail.imap, and whether the mail host can be reached; what waits is then read by itself."
	}}
}

// watchMailbox reads the workshop's mailbox until the context ends.
func (h *Service) watchMailbox(ctx context.Context, now func() time.Time, log *slog.Logger) {
	if h.mailbox == nil {
		return
	}
	every := time.NewTicker(mailEvery)
	defer every.Stop()
	var fault string // said once, not every minute
	for {
		err := h.readMailbox(ctx, now(), log)
		switch {
		case ctx.Err() != nil:
			return
		case err == nil && fault != "":
			log.Info("the mailbox can be read again")
			fault = ""
		case err != nil && err.Error() != fault:
			fault = err.Error()
			log.Error("the mailbox cannot be read; what is in it waits", "error", loops.Visible(fault))
		}
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
	}
}

// readMailbox does what has come in since it was read last; of several daemons
// the one that leads does.
func (h *Service) readMailbox(ctx context.Context, now time.Time, log *slog.Logger) error {
	if !h.lead.leads() {
		h.reading.elsewhere()
		return nil
	}
	last, err := h.led.LastMail(h.mailbox.Name())
	if err == nil {
		err = h.mailbox.Read(ctx, last, now.Add(-mailSince), &mailReader{h.led, now, log, h.poke})
	}
	switch {
	case errors.Is(err, loops.ErrOvertaken):
		h.reading.elsewhere()
		return nil
	case ctx.Err() == nil:
		h.reading.ended(now, err)
	}
	return err
}

// mailReader gives the workshop what its mailbox has.
type mailReader struct {
	w    *workshop.Workshop
	now  time.Time
	log  *slog.Logger
	wake func()
}

// Wanted tells a reply to us, a report and our letter to ourselves from all else,
// which nobody reads here.
func (r *mailReader) Wanted(head []byte) bool {
	in, err := notify.ReadIncomingHead(bytes.NewReader(head))
	return err == nil && (in.Report || r.w.MayAnswer(in) || r.canary(head))
}

// canary tells whether it may be our letter to ourselves: where the register does
// not say, whoever reads the mail finds out.
func (r *mailReader) canary(head []byte) bool {
	is, err := r.w.IsCanary(head, r.now)
	return is || err != nil
}

// Passed notes what was not wanted.
func (r *mailReader) Passed(place loops.MailPlace) error { return r.w.PassMail(place) }

// Read does what a mail asks for. What is wrong with the mail alone ends nothing.
func (r *mailReader) Read(m mailbox.Mail) error {
	in, err := notify.ReadIncomingHead(bytes.NewReader(m.Raw))
	if err == nil && m.Whole() && (in.Report || r.canary(m.Raw)) {
		return r.bounced(m)
	}
	if err == nil && m.Whole() {
		head := in
		if in, err = notify.ReadIncoming(m.Raw); err != nil {
			in, in.Unread = head, "it is built in a way that is not read"
		}
	}
	if !m.Whole() {
		in.Unread = "it is too large to be read"
	}
	done, err := r.w.Receive(workshop.Stamp{At: r.now.UTC(), By: "owner"}, loops.MailRead{Place: m.Place, Digest: loops.DigestOf(m.Raw)}, in)
	var refused *loops.InvalidError
	if errors.As(err, &refused) {
		r.log.Error("a mail cannot be recorded; it stays for a person to read", "mail", m.Place.UID, "field", refused.Field)
		return r.w.PassMail(m.Place)
	}
	if err != nil {
		return err
	}
	r.log.Info("mail came in", "outcome", done.Outcome, "mail", m.Place.UID)
	if done.Outcome == workshop.MailAnswered || done.Outcome == workshop.MailStopped {
		r.wake()
	}
	return nil
}

func (r *mailReader) bounced(m mailbox.Mail) error {
	back, err := r.w.Bounce(workshop.Stamp{At: r.now.UTC(), By: "bounces"}, bytes.NewReader(m.Raw))
	var unset *loops.InvalidError
	switch {
	case loops.NoWrite(err), errors.Is(err, loops.ErrOvertaken):
		return err
	case errors.Is(err, notify.ErrNotBounce), errors.Is(err, workshop.ErrForeignBounce), errors.As(err, &unset):
		r.log.Info("a report in the mailbox is about no mail of ours; it stays for a person to read", "mail", m.Place.UID, "why", loops.Visible(err.Error()))
	case err != nil: // what is wrong with one report keeps no answer behind it waiting
		r.log.Error("a report in the mailbox cannot be taken in; it stays for a person to read", "mail", m.Place.UID, "error", err)
	case back.Canary:
		r.log.Info("our letter to ourselves came")
	default:
		r.log.Info("mail came back", "message", back.Message, "given_up", back.GivenUp)
	}
	return r.w.PassMail(m.Place)
}
