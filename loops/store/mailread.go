// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// keyMailbox leads the place in meta of the last mail dealt with, by mailbox.
const keyMailbox = "mailbox "

type mailPlaceV1 struct {
	Mailbox  string `json:"mailbox"`
	Validity uint32 `json:"uid_validity"`
	UID      uint32 `json:"uid"`
}

type mailReadV1 struct {
	At time.Time `json:"at"`
	mailPlaceV1
}

// maxMailbox bounds the name of a mailbox, in bytes.
const maxMailbox = 400

// LastMail returns the place of the last mail that was dealt with in the mailbox;
// zero numbers where none was yet.
func (s *Store) LastMail(mailbox string) (loops.MailPlace, error) {
	v := mailPlaceV1{Mailbox: mailbox}
	err := s.view(func(tx engine.Reader) (err error) {
		if stored := tx.Get(bucketMeta, []byte(keyMailbox+mailbox)); stored != nil {
			v, err = decode[mailPlaceV1](recordV1, stored)
		}
		return err
	})
	if err != nil {
		return loops.MailPlace{}, fmt.Errorf("store: mailbox: %w", err)
	}
	return loops.MailPlace(v), nil
}

// PassMail notes that nothing is to be done about the mails up to the place.
func (s *Store) PassMail(place loops.MailPlace) error {
	if err := s.update(func(tx engine.Writer) error { return putMailPlace(tx, place) }); err != nil {
		return fmt.Errorf("store: mailbox: %w", err)
	}
	return nil
}

// KnowsMail tells whether a mail was dealt with already, wherever it lay then.
func (s *Store) KnowsMail(digest loops.MailDigest) (bool, error) {
	known := false
	err := s.view(func(tx engine.Reader) error {
		known = tx.Get(bucketMailRead, mailKey(digest)) != nil
		return nil
	})
	return known, err
}

func putMailPlace(tx engine.Writer, place loops.MailPlace) error {
	if place.Mailbox == "" || len(place.Mailbox) > maxMailbox || place.UID == 0 {
		return fmt.Errorf("mailbox %.60q, mail %d: a name of 1 to %d bytes and the number of a mail are right", place.Mailbox, place.UID, maxMailbox)
	}
	key := []byte(keyMailbox + place.Mailbox)
	if stored := tx.Get(bucketMeta, key); stored != nil {
		was, err := decode[mailPlaceV1](recordV1, stored)
		if err != nil {
			return err
		}
		if was.Validity == place.Validity && was.UID >= place.UID {
			return nil
		}
	}
	v, err := encode(recordV1, mailPlaceV1(place))
	if err != nil {
		return err
	}
	return tx.Put(bucketMeta, key, v)
}

// writeMail notes the mail that the change has dealt with; one that was dealt
// with before is loops.ErrRepeated.
func (e *encodedChange) writeMail(tx engine.Writer) error {
	if e.mail == nil {
		return nil
	}
	key := mailKey(e.mail.Digest)
	if tx.Get(bucketMailRead, key) != nil {
		return fmt.Errorf("mail %d of %s: %w", e.mail.Place.UID, e.mail.Place.Mailbox, loops.ErrRepeated)
	}
	return errors.Join(tx.Put(bucketMailRead, key, e.mailValue), putMailPlace(tx, e.mail.Place))
}

// mailKey is a digest as text, since keys are shown to people.
func mailKey(d loops.MailDigest) []byte { return hex.AppendEncode(nil, d[:]) }

// isMailboxKey tells that a key of meta holds a place.
func isMailboxKey(key []byte) bool { return bytes.HasPrefix(key, []byte(keyMailbox)) }
