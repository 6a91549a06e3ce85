// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"crypto/rand"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// sendsCanary is the bench with a mailbox for mail that comes back.
func (b bench) sendsCanary(t *testing.T) bench {
	t.Helper()
	path, err := notify.NewReturnPath("bounce@test.example", bytes.Repeat([]byte{3}, 32))
	require.NoError(t, err)
	ring := notify.KeyRing{Folder: t.TempDir(), Selector: "fm"}
	key, err := signingKey()
	require.NoError(t, err)
	require.NoError(t, notify.WriteKey(ring.First().File, key))
	return bench{workshop.New(b.store, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8, Policy: schedule.DefaultPolicy(),
		ReturnPath: path, Canary: 30 * time.Hour, Ours: func(raw []byte) error { return ring.Verify(raw, "test.example") },
	}, rand.Reader, keys(t, 1)), b.store}
}

// The letter to ourselves leaves once a day through the relay, signed. Read where
// it arrives it is green; where it does not come it is red, and says what became
// of it. Nothing but the letter itself counts.
func TestCanaryComesBackOrIsRed(t *testing.T) {
	t.Parallel()
	b := newBench(t).sendsCanary(t)
	r := startRelay(t)
	red := func(at time.Time) string {
		state, _, err := b.CanaryState()
		require.NoError(t, err)
		reason, remedy := b.CanaryTrouble(state, at)
		assert.Equal(t, reason != "", remedy != "", "what is red says what to do")
		return reason
	}
	send := func(s workshop.Stamp) []arrived {
		sent, err := b.MailCanary(s)
		require.NoError(t, err)
		require.True(t, sent)
		sent, err = b.MailCanary(s)
		require.NoError(t, err)
		require.False(t, sent, "once a day")
		_, err = b.delivererTo(t, r).Deliver(t.Context(), s.At)
		require.NoError(t, err)
		return r.take()
	}
	early, err := b.MailCanary(at("2026-05-01 07"))
	require.NoError(t, err)
	require.False(t, early, "not before the sending hour")
	first := send(at("2026-05-01 08"))
	require.Len(t, first, 1)
	assert.True(t, strings.HasPrefix(first[0].to, "bounce+"))
	assert.Contains(t, first[0].raw, "DKIM-Signature:")
	assert.Empty(t, red(at("2026-05-02 13").At), "it has time")
	assert.Contains(t, red(at("2026-05-02 15").At), "itself on Fri 1 May 2026 has not come back; it is delivered.")

	back := func(s workshop.Stamp, mail string) (workshop.Bounced, error) {
		return b.Bounce(s, strings.NewReader(mail))
	}
	answer := "From: x@y.example\r\nTo: " + first[0].to + "\r\nMessage-ID: <other@y.example>\r\nSubject: I am away\r\n\r\nx\r\n"
	_, err = back(at("2026-05-02 15"), answer)
	require.ErrorIs(t, err, notify.ErrNotBounce, "an answer is no arrival")
	forged := strings.ReplaceAll(first[0].raw, first[0].to, "bounce+"+strings.Repeat("a", 32)+"@test.example")
	_, err = back(at("2026-05-02 15"), forged)
	require.ErrorIs(t, err, notify.ErrNotBounce, "nobody else can make one")
	for name, changed := range map[string]string{
		"unsigned":       first[0].unsigned(),
		"another word":   strings.Replace(first[0].raw, "Nobody needs", "Somebody needs", 1),
		"signed by none": strings.Replace(first[0].raw, "s=fm;", "s=fm2;", 1),
	} {
		_, err = back(at("2026-05-02 15"), changed)
		require.ErrorIs(t, err, notify.ErrNotBounce, name)
		require.ErrorContains(t, err, "changed on its way", name)
	}
	assert.NotEmpty(t, red(at("2026-05-02 15").At))
	got, err := back(at("2026-05-02 15"), "Delivered-To: "+first[0].to+"\r\n"+first[0].raw)
	require.NoError(t, err)
	assert.True(t, got.Canary)
	assert.Empty(t, red(at("2026-05-02 15").At))
	state, on, err := b.CanaryState()
	require.NoError(t, err)
	assert.True(t, on)
	age, came := state.Age(at("2026-05-02 15").At)
	assert.True(t, came)
	assert.Equal(t, 31*time.Hour, age)

	// The relay refuses: red, and nobody's address is given up.
	r.set("refuse")
	assert.Empty(t, send(at("2026-05-03 08")))
	assert.Contains(t, red(at("2026-05-04 15").At), "it is refused: ")
	for range b.store.Suppressions() {
		assert.Fail(t, "our own mailbox was given up")
	}
	// One of the first day that comes again tells nothing.
	_, err = back(at("2026-05-04 15"), first[0].raw)
	require.NoError(t, err)
	assert.NotEmpty(t, red(at("2026-05-04 15").At))
	// After a week off the next that comes ends it.
	r.set("")
	later := send(at("2026-05-11 09"))
	require.Len(t, later, 1)
	_, err = back(at("2026-05-11 10"), later[0].raw)
	require.NoError(t, err)
	assert.Empty(t, red(at("2026-05-11 10").At))
}

// One that waited past its day does not leave: the next day's tells as much. A
// workshop that turns them off sends none that waits.
func TestCanaryOfYesterdayIsWithdrawn(t *testing.T) {
	t.Parallel()
	off := newBench(t)
	b, r := off.sendsCanary(t), startRelay(t)
	for day, deliverer := range map[string]bench{"2026-05-01": b, "2026-05-03": off} {
		s := at(day + " 08")
		_, err := b.MailCanary(s)
		require.NoError(t, err)
		_, err = deliverer.delivererTo(t, r).Deliver(t.Context(), s.At.Add(17*time.Hour))
		require.NoError(t, err)
		assert.Empty(t, r.take())
		m, err := b.store.MessageHead(loops.MessageKey("0/" + day + "/canary"))
		require.NoError(t, err)
		assert.Equal(t, loops.Withdrawn, m.Status, m.Note)
	}
}
