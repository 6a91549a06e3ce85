// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
)

// underWay delivers an outbox of many messages and lets do look at each as it
// leaves, by its number in the order in which they do.
func underWay(t *testing.T, mails int, do func(s *store.Store, ctx context.CancelFunc, nth int, to string) error) (*store.Store, notify.Report, []string, error) {
	t.Helper()
	s, err := store.Open(fillOutbox(t, mails, 100, nil), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var left []string
	d, err := notify.NewDeliverer(s, asWritten{}, nil, sendFunc(func(to string) error {
		left = append(left, to)
		return do(s, cancel, len(left), to)
	}), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	rep, err := d.Deliver(ctx, sent)
	return s, rep, left, err
}

// asWritten finds every letter true.
type asWritten struct{}

func (asWritten) Review(m loops.Message, _ time.Time) (notify.Review, error) {
	return notify.Review{Message: m}, nil
}

func queue(t *testing.T, s *store.Store) (all []loops.Message) {
	t.Helper()
	for m, err := range s.Messages(loops.Queued) {
		require.NoError(t, err)
		all = append(all, m)
	}
	return all
}

// Many share a commit, which records what of the wave before arrived too; each
// arrives once.
func TestWavesShareCommits(t *testing.T) {
	t.Parallel()
	const mails = 100
	var before, last loops.StoreRevision
	shared := 0
	s, rep, left, err := underWay(t, mails, func(s *store.Store, _ context.CancelFunc, nth int, _ string) error {
		now, err := s.Revision()
		switch {
		case nth == 1:
			before = now
		case now.Write == last.Write+1 && now.Audit > last.Audit:
			shared++ // the audit says that some arrived, the same write that others begin
		}
		last = now
		return err
	})
	require.NoError(t, err)
	assert.Equal(t, mails, rep.Delivered)
	assert.Len(t, left, mails)
	assert.Empty(t, queue(t, s))
	after, err := s.Revision()
	require.NoError(t, err)
	// Waves of 1, 2, 4, 8, 16, 32 and the rest, where the machine is quick; one
	// that is not begins with one again.
	assert.Less(t, after.Write-before.Write, uint64(mails))
	assert.Positive(t, shared)
}

// byOwner tells whether a letter is judged while another one to its owner is on
// its way, or arrived and is not on record.
type byOwner struct {
	*box
	early []loops.MessageKey
}

func (b *byOwner) Review(m loops.Message, _ time.Time) (notify.Review, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, other := range b.messages {
		if other.Owner == m.Owner && other.Key != m.Key && other.Status == loops.Queued && other.Unsure {
			b.early = append(b.early, m.Key)
		}
	}
	return notify.Review{Message: m}, nil
}

// What becomes of a letter decides about the next one to its owner, so that one is
// not judged before.
func TestLettersToOneOwnerAreJudgedInTurn(t *testing.T) {
	t.Parallel()
	b := &byOwner{box: newBox()}
	for n := range 120 {
		key := loops.MessageKey(fmt.Sprintf("%03d", n))
		b.messages[key] = loops.Message{Key: key, Owner: loops.OwnerID(1 + n%40), From: env.From, To: string(key) + "@garden.example", Raw: []byte("From: a@b.example\r\n\r\nx\r\n"),
			Status: loops.Queued, Created: sent, NextAttempt: sent}
	}
	d, err := notify.NewDeliverer(b, b, nil, sendFunc(func(string) error { return nil }), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	rep, err := d.Deliver(t.Context(), sent)
	require.NoError(t, err)
	assert.Equal(t, 120, rep.Delivered)
	assert.Empty(t, b.early)
}

// Whatever is written while a wave is on its way is asked before the next of it
// leaves: here that nothing goes to an address any more.
func TestWaveIsJudgedAgainOnceAnythingWasWritten(t *testing.T) {
	t.Parallel()
	const mails = 40
	stopped, gone := map[string]bool{}, map[string]bool{}
	inWave, ahead := 0, 0
	s, rep, left, err := underWay(t, mails, func(s *store.Store, _ context.CancelFunc, nth int, to string) error {
		assert.False(t, stopped[to], "%s had asked for no more", to)
		gone[to] = true
		waiting := slices.DeleteFunc(queue(t, s), func(m loops.Message) bool { return gone[m.To] || stopped[m.To] })
		if nth%3 != 0 || len(waiting) == 0 {
			return nil
		}
		// By turns one that is about to leave in the same wave and the one after
		// it, which is judged by now, where there are any.
		slices.Reverse(waiting) // the oldest first
		i := max(0, slices.IndexFunc(waiting, func(m loops.Message) bool { return m.Unsure == (nth%2 == 0) }))
		if waiting[i].Unsure {
			inWave++
		} else {
			ahead++
		}
		stopped[waiting[i].To] = true
		return s.Suppress(loops.Suppression{Address: waiting[i].To, Reason: "asked for no more mail", Since: sent}, "test")
	})
	require.NoError(t, err)
	assert.Positive(t, inWave)
	assert.Positive(t, ahead)
	after := map[string]bool{}
	for _, to := range left {
		assert.False(t, after[to], "%s has it once", to)
		after[to] = true
	}
	refused := 0
	for m, err := range s.Messages(loops.Refused) {
		require.NoError(t, err)
		assert.True(t, stopped[m.To])
		refused++
	}
	assert.Positive(t, refused)
	assert.Equal(t, refused, rep.Refused)
	assert.Equal(t, len(stopped), refused)
	assert.Equal(t, mails, rep.Refused+rep.Delivered)
	assert.Empty(t, queue(t, s))
}

// A wave that ends early leaves what had not left as it stood before.
func TestWhatAWaveDidNotBeginStandsAsBefore(t *testing.T) {
	t.Parallel()
	const mails = 40
	for name, end := range map[string]func(stop context.CancelFunc) error{
		"told to stop": func(stop context.CancelFunc) error { stop(); return nil },
		"the relay fails": func(context.CancelFunc) error {
			return &notify.SendError{Temporary: true, RelayFault: true, Code: 421, Err: errors.New("421 closing")}
		},
	} {
		for _, at := range []int{1, 2, 5, 9} {
			s, rep, left, err := underWay(t, mails, func(_ *store.Store, stop context.CancelFunc, nth int, _ string) error {
				if nth < at {
					return nil
				}
				return end(stop)
			})
			if strings.Contains(name, "stop") {
				require.ErrorIs(t, err, context.Canceled)
			} else {
				require.NoError(t, err)
				require.ErrorContains(t, rep.RelayFault, "421 closing")
			}
			assert.Len(t, left, at, name)
			waiting := queue(t, s)
			assert.Len(t, waiting, mails-rep.Delivered, name)
			for _, m := range waiting {
				assert.False(t, m.Unsure, "%s: %s", name, m.Key)
				assert.Zero(t, m.Attempts, "%s: %s", name, m.Key)
				assert.Empty(t, m.Signature)
			}
		}
	}
	// A message that may have left before stays in doubt, with its bytes.
	path := fillOutbox(t, 4, 100, nil)
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer s.Close()
	first := queue(t, s)
	for _, m := range first {
		m, err := s.Message(m.Key)
		require.NoError(t, err)
		m.Signature = []byte("DKIM-Signature: as it left\r\n")
		_, err = s.MarkAttempts([]loops.Attempt{{Message: m, Next: sent}}, loops.StoreRevision{}, sent.Add(-time.Hour))
		require.NoError(t, err)
	}
	nth := 0
	d, err := notify.NewDeliverer(s, nil, nil, sendFunc(func(string) error {
		if nth++; nth == 2 { // one more of its wave waits
			return &notify.SendError{Temporary: true, RelayFault: true, Code: 421, Err: errors.New("421 closing")}
		}
		return nil
	}), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	_, err = d.Deliver(t.Context(), sent)
	require.NoError(t, err)
	for _, m := range queue(t, s) {
		assert.True(t, m.Unsure, m.Key)
		assert.Equal(t, 1, m.Attempts)
		assert.Equal(t, "DKIM-Signature: as it left\r\n", string(m.Signature))
	}
}
