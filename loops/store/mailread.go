// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

type mailReadV1 struct {
	At time.Time `json:"at"`
	loops.MailPlace
}

// mailReadTable has the mails that were dealt with, under their digests.
func mailReadTable() table[mailReadV1] {
	return table[mailReadV1]{kind: "mail", bucket: bucketMailRead, encode: encodeV1[mailReadV1], decode: decodeV1[mailReadV1]}
}

// maxMailbox bounds the name of a mailbox, in bytes.
const maxMailbox = 400

// LastMail returns the place of the last mail that was dealt with in the mailbox;
// zero numbers where none was yet.
func (s *Store) LastMail(mailbox string) (loops.MailPlace, error) {
	place, err := metaOf[loops.MailPlace](s, keyMailbox+mailbox)
	if err == nil {
		place.Mailbox = mailbox
	}
	return place, err
}

// PassMail notes that nothing is to be done about the mails up to the place.
func (s *Store) PassMail(place loops.MailPlace) error {
	return s.write("store: mailbox", func(tx engine.Writer) error { return putMailPlace(tx, place) })
}

// KnowsMail tells whether a mail was dealt with already, wherever it lay then.
func (s *Store) KnowsMail(digest loops.MailDigest) (bool, error) {
	return read(s, "store: mailbox", func(tx engine.Reader) (bool, error) {
		return tx.Get(bucketMailRead, mailKey(digest)) != nil, nil
	})
}

func putMailPlace(tx engine.Writer, place loops.MailPlace) error {
	if place.Mailbox == "" || len(place.Mailbox) > maxMailbox || place.UID == 0 {
		return fmt.Errorf("mailbox %.60q, mail %d: a name of 1 to %d bytes and the number of a mail are right", place.Mailbox, place.UID, maxMailbox)
	}
	key := keyMailbox + place.Mailbox
	was, err := metaIn[loops.MailPlace](tx, key)
	if err != nil || was.Validity == place.Validity && was.UID >= place.UID {
		return err
	}
	return putMetaIn(tx, key, place)
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
