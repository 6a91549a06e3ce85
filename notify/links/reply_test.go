// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package links_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/notify/links"
)

func drawnReply(t *rapid.T) links.Reply {
	return links.Reply{
		Owner: loops.OwnerID(rapid.Uint64().Draw(t, "owner")), Epoch: rapid.Uint32().Draw(t, "epoch"), Loop: loops.LoopID(rapid.Uint64().Draw(t, "loop")),
		Says: rapid.SampledFrom([]links.Saying{links.SaysFine, links.SaysOff, links.SaysCall, links.SaysPause, links.SaysStop, links.SaysLater, links.SaysMoved, links.SaysSold, links.SaysDone}).Draw(t, "says"),
	}
}

// A token says what it was signed for, in whatever case it comes back, until its
// day is over; under another key it says nothing.
func TestReplySaysWhatItWasSignedFor(t *testing.T) {
	t.Parallel()
	l := keys(t, 1)
	rapid.Check(t, func(t *rapid.T) {
		r := drawnReply(t)
		token := l.SignReply(r, noon)
		require.Regexp(t, `^[a-z2-7]+$`, token)
		require.LessOrEqual(t, len(token), 80)
		got, err := l.OpenReply(strings.ToUpper(token), noon.Add(11*time.Hour))
		require.NoError(t, err)
		require.Equal(t, r, got)
		got, err = l.OpenReply(token, noon.Add(12*time.Hour))
		require.ErrorIs(t, err, links.ErrInvalid, "the day after")
		require.Equal(t, r, got, "a person reads whose it was")
		got, err = keys(t, 2).OpenReply(token, noon)
		require.ErrorIs(t, err, links.ErrInvalid)
		require.Zero(t, got)
	})
	assert.LessOrEqual(t, len(l.SignReply(links.Reply{Owner: 12_000, Epoch: 3, Loop: 40_000, Says: links.SaysFine}, noon)), 36, "short in a subject")
	_, err := links.Keys{}.OpenReply(l.SignReply(links.Reply{}, noon), noon)
	require.ErrorIs(t, err, links.ErrInvalid)
}

// Whatever is changed in a token, it says nothing; and no link of a page is one.
func TestChangedReplySaysNothing(t *testing.T) {
	t.Parallel()
	l := keys(t, 1)
	rapid.Check(t, func(t *rapid.T) {
		token := []byte(l.SignReply(drawnReply(t), noon))
		at := rapid.IntRange(0, len(token)-1).Draw(t, "at")
		with := rapid.SampledFrom([]byte("abcdefghijklmnopqrstuvwxyz234567")).Draw(t, "with")
		if token[at] == with {
			return
		}
		token[at] = with
		got, err := l.OpenReply(string(token), noon)
		require.ErrorIs(t, err, links.ErrInvalid)
		require.Zero(t, got)
	})
	_, err := l.OpenReply(l.Sign(links.Owner, loops.Owner{ID: 7}, noon), noon)
	require.ErrorIs(t, err, links.ErrInvalid)
}

func FuzzReplySaysNothing(f *testing.F) {
	l := keys(f, 1)
	f.Add("")
	f.Add("aeaww")
	f.Add(strings.Repeat("a", 34))
	f.Fuzz(func(t *testing.T, token string) {
		_, err := l.OpenReply(token, noon)
		require.ErrorIs(t, err, links.ErrInvalid)
	})
}
