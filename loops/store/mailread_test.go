// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// A mail is dealt with once: under the number it had, and under the one it gets
// where its mailbox has numbered everything again.
func TestMailIsDealtWithOnce(t *testing.T) {
	t.Parallel()
	testMailIsDealtWithOnce(t, files)
}

func testMailIsDealtWithOnce(t *testing.T, fresh place) {
	path := fresh(t)
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	change := func(uid, validity uint32, raw string) loops.Change {
		return loops.Change{At: time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC), By: "owner", Action: "answer",
			Mail: &loops.MailRead{Place: loops.MailPlace{Mailbox: "bench@w.example INBOX", Validity: validity, UID: uid}, Digest: loops.DigestOf([]byte(raw))}}
	}
	last := func() loops.MailPlace {
		place, err := s.LastMail("bench@w.example INBOX")
		require.NoError(t, err)
		return place
	}
	assert.Equal(t, loops.MailPlace{Mailbox: "bench@w.example INBOX"}, last())
	require.NoError(t, s.Commit(change(7, 3, "one")))
	assert.Equal(t, change(7, 3, "").Mail.Place, last())
	require.ErrorIs(t, s.Commit(change(7, 3, "one")), loops.ErrRepeated)
	require.ErrorIs(t, s.Commit(change(2, 4, "one")), loops.ErrRepeated, "the mailbox was numbered again")
	assert.Equal(t, change(7, 3, "").Mail.Place, last(), "what is refused moves nothing")
	require.NoError(t, s.PassMail(change(2, 4, "").Mail.Place))
	require.NoError(t, s.PassMail(change(1, 4, "").Mail.Place))
	assert.Equal(t, change(2, 4, "").Mail.Place, last(), "never back")
	// A change that fails in anything else notes no mail.
	bad := change(9, 4, "two")
	bad.Owners = []loops.Owner{{ID: 99, Revision: 5, Name: "Nobody"}}
	require.ErrorIs(t, s.Commit(bad), loops.ErrConflict)
	require.Error(t, s.Commit(change(0, 4, "three")), "a mail has a number")
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	for text, want := range map[string]bool{"one": true, "two": false, "three": false} {
		known, err := s.KnowsMail(loops.DigestOf([]byte(text)))
		require.NoError(t, err)
		assert.Equal(t, want, known, text)
	}
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
}
