// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// What stands in the file is the records of package loops as their JSON tags say,
// and golden files hold both the names and the text. A few have a form of their
// own here. A form that was released is never edited: the change of a record
// begins with a copy of what it was, ownerV1 and what is nested in it.

// recordV1 is the version of every record so far.
const recordV1 = 1

// messageV1 leaves Raw out: it stands in a value of its own, so that moving a
// message on does not write its text again and old text can be deleted.
type messageV1 struct {
	Key            loops.MessageKey    `json:"key"`
	Owner          loops.OwnerID       `json:"owner,omitempty"`
	Purpose        loops.Purpose       `json:"purpose"`
	From           string              `json:"from"`
	To             string              `json:"to"`
	Subject        string              `json:"subject"`
	MessageID      string              `json:"message_id,omitempty"`
	Raw            []byte              `json:"-"`
	Created        time.Time           `json:"created"`
	PointlessAfter time.Time           `json:"pointless_after"`
	Status         loops.MessageStatus `json:"status"`
	Attempts       int                 `json:"attempts,omitempty"`
	LastAttempt    time.Time           `json:"last_attempt,omitzero"`
	NextAttempt    time.Time           `json:"next_attempt,omitzero"`
	LastError      string              `json:"last_error,omitempty"`
	Failure        string              `json:"failure,omitempty"`
	About          []loops.Topic       `json:"about,omitempty"`
	Dated          time.Time           `json:"dated,omitzero"`
	Unsure         bool                `json:"unsure,omitempty"`
	Claim          uint64              `json:"claim,omitempty"`
	Lost           int                 `json:"lost,omitempty"`
	Blamed         time.Time           `json:"blamed,omitzero"`
	Signature      []byte              `json:"signature,omitempty"`
	Instead        loops.MessageKey    `json:"instead,omitempty"`
	Note           string              `json:"note,omitempty"`
}

type bodyV1 struct {
	Key loops.MessageKey `json:"key"`
	Raw []byte           `json:"raw"`
}

// byID is the table of records that have an id from a counter.
func byID[T any, N number](kind, bucket string, id func(T) N, revision func(*T) *uint64) table[T] {
	return table[T]{
		kind: kind, bucket: bucket, encode: encodeV1[T], decode: decodeV1[T],
		key: func(r T) ([]byte, error) { return idOf(id(r)) }, revision: revision, counted: true, exported: true,
	}
}

func ownerTable() table[loops.Owner] {
	return byID("owner", bucketOwners, func(o loops.Owner) loops.OwnerID { return o.ID }, func(o *loops.Owner) *uint64 { return &o.Revision })
}

func machineTable() table[loops.Machine] {
	t := byID("machine", bucketMachines, func(m loops.Machine) loops.MachineID { return m.ID }, func(m *loops.Machine) *uint64 { return &m.Revision })
	t.lines = func(m loops.Machine) ([]place, error) {
		return []place{{bucketMachinesByOwner, pairKey(m.Owner, m.ID)}}, nil
	}
	t.needs = func(m loops.Machine) []place { return owned(m.Owner) }
	return t
}

// owned is the place of an owner, where there is one.
func owned(by loops.OwnerID) []place {
	if by == 0 {
		return nil
	}
	return []place{{bucketOwners, idKey(by)}}
}

func loopTable() table[loops.Loop] {
	t := byID("loop", bucketLoops, func(l loops.Loop) loops.LoopID { return l.ID }, func(l *loops.Loop) *uint64 { return &l.Revision })
	t.lines = func(l loops.Loop) ([]place, error) {
		tag, err := tagKey(l.Tag, l.ID)
		lines := []place{{bucketLoopsByMachine, pairKey(l.Machine, l.ID)}, {bucketTags, tag}}
		for _, d := range l.Dues() {
			due, wrong := dueKey(d)
			if wrong != nil {
				err = errors.Join(err, fmt.Errorf("due line: %w", wrong))
			}
			lines = append(lines, place{bucketDue, due})
		}
		return lines, err
	}
	t.needs = func(l loops.Loop) []place { return []place{{bucketMachines, idKey(l.Machine)}} }
	t.refuses = tagTaken
	t.also = func(_ *checker, tx engine.Reader, l loops.Loop) error { return checkHistory(tx, l) }
	return t
}

// tagTaken refuses the tag that another loop has.
func tagTaken(tx engine.Reader, l loops.Loop) error {
	key, _ := engine.First(tx.Ascend(bucketTags, engine.Prefix([]byte(l.Tag))))
	if key == nil {
		return nil
	}
	tag, holder, err := decodeTagKey(key)
	if err != nil {
		return fmt.Errorf("tags: %w", err)
	}
	if tag == l.Tag && holder != l.ID {
		return fmt.Errorf("%s: %w", l.Tag, loops.ErrTagTaken)
	}
	return nil
}

func entryTable() table[loops.Entry] {
	return table[loops.Entry]{
		kind: "entry", bucket: bucketHistory, encode: encodeEntry, decode: decodeEntry, exported: true,
		key:    func(e loops.Entry) ([]byte, error) { return pairKey(e.Loop, e.ID), nil },
		called: func(e loops.Entry) string { return fmt.Sprintf("entry %d of loop %d", e.ID, e.Loop) },
		lines: func(e loops.Entry) ([]place, error) {
			if e.Key == "" {
				return nil, nil
			}
			return []place{{bucketActKeys, actKey(e)}}, nil
		},
		needs: func(e loops.Entry) []place { return []place{{bucketLoops, idKey(e.Loop)}} },
		also: func(c *checker, tx engine.Reader, e loops.Entry) error {
			if c.there[bucketActKeys] && !actKeyKept(e, tx.Sequence(bucketActKeys)) {
				delete(c.expected[bucketActKeys], string(actKey(e)))
			}
			return nil
		},
	}
}

func messageTable() table[loops.Message] {
	return table[loops.Message]{
		kind: "message", bucket: bucketMessages, encode: encodeMessage, decode: decodeMessage, exported: true,
		key: func(m loops.Message) ([]byte, error) { return messageKey(m.Key) },
		lines: func(m loops.Message) ([]place, error) {
			recent, err := instantKey(m.Created, m.Key)
			lines := []place{{bucketRecent, recent}}
			if err == nil && m.Status == loops.Queued {
				var next []byte
				next, err = instantKey(m.NextAttempt, m.Key)
				lines = append(lines, place{bucketOutbox, next})
			}
			return lines, err
		},
		needs: func(m loops.Message) []place { return owned(m.Owner) },
	}
}

func bodyTable() table[bodyV1] {
	return table[bodyV1]{
		kind: "body", bucket: bucketBodies, encode: encodeV1[bodyV1], decode: decodeBody, exported: true,
		key:   func(b bodyV1) ([]byte, error) { return messageKey(b.Key) },
		needs: func(b bodyV1) []place { return []place{{bucketMessages, []byte(b.Key)}} },
	}
}

func sentTable() table[loops.Sent] {
	return table[loops.Sent]{
		kind: "sent", bucket: bucketSent, encode: encodeV1[loops.Sent], decode: decodeSent, exported: true, key: sentKey,
		needs: func(s loops.Sent) []place { return []place{{bucketLoops, idKey(s.Loop)}} },
	}
}

// auditTable puts each line behind all others, whatever the clock says.
func auditTable() table[loops.AuditLine] {
	return table[loops.AuditLine]{kind: "audit", bucket: bucketAudit, encode: encodeAudit, decode: decodeV1[loops.AuditLine], exported: true}
}

// audit adds a line to the audit.
func audit(tx engine.Writer, line loops.AuditLine) error { return auditTable().replace(tx, nil, line) }

func encodeEntry(e loops.Entry) ([]byte, error) {
	e.Recorded = e.Recorded.UTC()
	return encodeV1(e)
}

func encodeMessage(m loops.Message) ([]byte, error) {
	m.Created, m.PointlessAfter = m.Created.UTC(), m.PointlessAfter.UTC()
	m.LastAttempt, m.NextAttempt, m.Dated, m.Blamed = m.LastAttempt.UTC(), m.NextAttempt.UTC(), m.Dated.UTC(), m.Blamed.UTC()
	return encodeV1(messageV1(m))
}

func encodeAudit(a loops.AuditLine) ([]byte, error) {
	a.At = a.At.UTC()
	return encodeV1(a)
}

func decodeLoop(stored []byte) (loops.Loop, error)   { return decodeV1[loops.Loop](stored) }
func decodeEntry(stored []byte) (loops.Entry, error) { return decodeV1[loops.Entry](stored) }
func decodeSent(stored []byte) (loops.Sent, error)   { return decodeV1[loops.Sent](stored) }

func decodeMessage(stored []byte) (loops.Message, error) {
	v, err := decodeV1[messageV1](stored)
	return loops.Message(v), err
}

func decodeBody(stored []byte) (bodyV1, error) {
	if text, err := payload(stored); err == nil {
		if b, ok := bodyAsEncoded(text); ok {
			return b, nil
		}
	}
	return decodeV1[bodyV1](stored)
}

// bodyAsEncoded reads the text of a message where it stands as [encode] writes
// it, which takes a tenth of the decoder's time: each letter that leaves is read.
func bodyAsEncoded(text []byte) (b bodyV1, ok bool) {
	text, opened := bytes.CutPrefix(text, []byte(`{"v":1,"record":{"key":"`))
	text, closed := bytes.CutSuffix(text, []byte(`"}}`))
	key, raw, parted := bytes.Cut(text, []byte(`","raw":"`))
	if !opened || !closed || !parted || bytes.ContainsFunc(key, isEscaped) || bytes.IndexByte(raw, '\n') >= 0 || bytes.IndexByte(raw, '\r') >= 0 {
		return b, false
	}
	decoded, err := base64.StdEncoding.AppendDecode([]byte{}, raw)
	return bodyV1{loops.MessageKey(key), decoded}, err == nil
}

// isEscaped tells that JSON may write the character otherwise.
func isEscaped(r rune) bool { return r <= ' ' || r > '~' || r == '"' || r == '\\' }
