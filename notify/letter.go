// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"mime/quotedprintable"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify/words"
)

// Letter is a composed mail. Raw is all of it, unsigned, with CRLF line ends;
// the other fields repeat what stands in it for lists and the envelope.
type Letter struct {
	From, To  string // bare addresses, ASCII
	Subject   string // as people read it
	MessageID string
	Headers   []Header // in the order they stand in Raw
	Raw       []byte
}

// Message returns the outbox record of the letter, queued from created on.
// Delivering it after pointlessAfter would no longer help; the zero time means
// that it always would.
func (l Letter) Message(key loops.MessageKey, owner loops.OwnerID, purpose loops.Purpose, created, pointlessAfter time.Time) loops.Message {
	return loops.Message{
		Key: key, Owner: owner, Purpose: purpose,
		From: l.From, To: l.To, Subject: l.Subject, MessageID: l.MessageID, Raw: l.Raw,
		Created: created, PointlessAfter: pointlessAfter,
		Status: loops.Queued, NextAttempt: created,
	}
}

// MessageIDFor derives the Message-ID from the register's own id and the key of
// a message, so that a copy sent twice is recognisably the same letter, and the
// letters of two registers under one domain are not. It names neither owner nor
// host; the domain is the workshop's. Registers had no id once: empty gives what
// they gave.
func MessageIDFor(register string, key loops.MessageKey, domain string) string {
	if register != "" {
		register += "\x00"
	}
	sum := sha256.Sum256([]byte("message id\x00" + register + string(key)))
	return "<" + hex.EncodeToString(sum[:16]) + "@" + domain + ">"
}

// MessageIDOf is the Message-ID of a message on record. One from before that was
// kept with it has the id that it was composed with.
func MessageIDOf(m loops.Message, domain string) string {
	if m.MessageID != "" {
		return m.MessageID
	}
	return MessageIDFor("", m.Key, domain)
}

// envelope is what the headers of every letter are made from.
type envelope struct {
	workshop  Workshop
	owner     loops.Owner
	date      time.Time
	messageID string
	oneClick  string
	instead   Earlier
	// thread are the Message-IDs of the letters before it about the same matter,
	// the first one first.
	thread []string
}

// Earlier is a letter that another one takes the place of, since it may have
// arrived and is not true any more. The zero value is none.
type Earlier struct {
	MessageID string
	Day       loops.Day // of its date, the owner's
}

// sentence opens the letter that takes its place.
func (e Earlier) sentence(ws words.Words) string {
	if e.MessageID == "" {
		return ""
	}
	return ws.Say("instead", ws.Day(e.Day)) + " "
}

// before are the letters that it follows, the last of them the one that it
// answers to (RFC 5322 3.6.4).
func (e envelope) before() []string {
	before := slices.Clone(e.thread)
	if e.instead.MessageID != "" && !slices.Contains(before, e.instead.MessageID) {
		before = append(before, e.instead.MessageID)
	}
	return before
}

// assemble puts headers and parts together. Everything in it was checked.
func (e envelope) assemble(subject, text, html string, calendar []byte) (Letter, error) {
	from, err := asciiAddress("workshop address", e.workshop.From)
	if err != nil {
		return Letter{}, err
	}
	to, err := asciiAddress("owner address", e.owner.Email)
	if err != nil {
		return Letter{}, err
	}
	sum := sha256.Sum256([]byte("boundary\x00" + e.messageID))
	// "=_" cannot stand in quoted-printable text, so the boundary is in no part.
	boundary := "=_" + hex.EncodeToString(sum[:16])
	subject = loops.Visible(subject)
	l := Letter{From: from, To: to, Subject: subject, MessageID: e.messageID}
	l.Headers = []Header{
		{"From", addressValue("From", loops.Visible(e.workshop.Name), from)},
		{"To", addressValue("To", loops.Visible(e.owner.Name), to)},
		{"Subject", unstructured("Subject", subject)},
		{"Date", e.date.UTC().Format(time.RFC1123Z)},
		{"Message-ID", e.messageID},
		{"Auto-Submitted", "auto-generated"},
	}
	if before := e.before(); len(before) > 0 {
		l.Headers = append(l.Headers, Header{"In-Reply-To", before[len(before)-1]}, Header{"References", strings.Join(before, "\r\n ")})
	}
	if e.oneClick != "" {
		l.Headers = append(l.Headers, Header{"List-Unsubscribe", "<" + e.oneClick + ">"})
	}
	if e.oneClick != "" && !isMailto(e.oneClick) {
		l.Headers = append(l.Headers, Header{"List-Unsubscribe-Post", "List-Unsubscribe=One-Click"})
	}
	l.Headers = append(l.Headers,
		Header{"MIME-Version", "1.0"},
		Header{"Content-Type", "multipart/alternative;\r\n boundary=\"" + boundary + "\""})

	var b bytes.Buffer
	for _, h := range l.Headers {
		b.WriteString(h.Name + ": " + h.Value + "\r\n")
	}
	parts := []struct{ kind, body string }{
		{"text/plain; charset=utf-8", text},
		{"text/html; charset=utf-8", html},
	}
	if len(calendar) > 0 {
		parts = append(parts, struct{ kind, body string }{"text/calendar; charset=utf-8; method=PUBLISH", string(calendar)})
	}
	for _, p := range parts {
		b.WriteString("\r\n--" + boundary + "\r\nContent-Type: " + p.kind +
			"\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n")
		if err := writeQuoted(&b, p.body); err != nil {
			return Letter{}, err
		}
	}
	b.WriteString("\r\n--" + boundary + "--\r\n")
	l.Raw = b.Bytes()
	return l, nil
}

// writeQuoted writes a part's text in quoted-printable; its writer turns every
// line end into CRLF.
func writeQuoted(b *bytes.Buffer, text string) error {
	w := quotedprintable.NewWriter(b)
	if _, err := w.Write([]byte(text)); err != nil {
		return err
	}
	return w.Close()
}
