// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/mail"
	"os"
	"path/filepath"

	"fillmark/disk"
)

// Maildir is a transport into a folder: tmp, new and cur, one file a message.
// Such mail reaches no owner; it is for trying out and for workshops that carry
// it on themselves.
type Maildir struct {
	Dir string // made, with mode 0700, where it is missing
}

// Send puts the message into the folder's new. The file's name derives from the
// Date and the Message-ID, so that the same letter sent twice is there once and
// no name of this computer shows. A failure is a [SendError] with RelayFault.
func (m Maildir) Send(ctx context.Context, _ Envelope, raw []byte) error {
	err := ctx.Err()
	if err == nil {
		err = m.put(raw)
	}
	if err != nil {
		return &SendError{Temporary: true, RelayFault: true, Err: fmt.Errorf("maildir: %w", err)}
	}
	return nil
}

// Open does nothing: a folder is there or is made.
func (m Maildir) Open(context.Context) error { return nil }

// End does nothing: a folder keeps nothing open.
func (m Maildir) End() {}

func (m Maildir) put(raw []byte) error {
	for _, sub := range []string{"tmp", "new", "cur"} {
		if err := os.MkdirAll(filepath.Join(m.Dir, sub), 0o700); err != nil {
			return err
		}
	}
	name, err := maildirName(raw)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Join(m.Dir, "tmp"), name+".*") // mode 0600
	if err != nil {
		return err
	}
	_, err = f.Write(raw)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	if err := os.Rename(f.Name(), filepath.Join(m.Dir, "new", name)); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return disk.SyncFolder(filepath.Join(m.Dir, "new"))
}

// maildirName begins with the letter's own date, as readers of such folders
// sort by it.
func maildirName(raw []byte) (string, error) {
	msg, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return "", err
	}
	date, err := msg.Header.Date()
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256([]byte(msg.Header.Get("Message-ID")))
	return fmt.Sprintf("%d.%s.fillmark", date.Unix(), hex.EncodeToString(sum[:12])), nil
}
