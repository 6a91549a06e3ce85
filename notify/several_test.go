// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/testdata/peer"
)

// Several daemons deliver from one register: each letter goes once, whoever marks
// it first, in a file as in a database.
func TestSeveralDeliverersSendEachLetterOnce(t *testing.T) {
	t.Parallel()
	t.Run("one process", func(t *testing.T) {
		t.Parallel()
		s := registerAt(t, filepath.Join(t.TempDir(), "register.db"))
		sendOnce(t, s, s, s)
	})
	t.Run("a database", func(t *testing.T) {
		t.Parallel()
		address := peer.StartPostgres(t).Address("")
		sendOnce(t, registerAt(t, address), registerAt(t, address), registerAt(t, address))
	})
}

func registerAt(t *testing.T, path string) *store.Store {
	t.Helper()
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func sendOnce(t *testing.T, daemons ...*store.Store) {
	const letters = 40
	c := loops.Change{At: sent, By: "test", Action: "mail", Owners: []loops.Owner{{ID: 1, Name: "Ana Fern"}}}
	for n := range letters {
		key := loops.NewMessageKey(1, loops.DayOf(sent.AddDate(0, 0, n), time.UTC), loops.PurposeReminder, "")
		c.Messages = append(c.Messages, loops.Message{Key: key, Owner: 1, Purpose: loops.PurposeReminder, From: env.From, To: fmt.Sprintf("ana%d@garden.example", n),
			Subject: "a look", Raw: []byte("From: a@b.example\r\n\r\nx\r\n"), Status: loops.Queued, Created: sent, NextAttempt: sent, PointlessAfter: sent.AddDate(0, 0, 30)})
	}
	require.NoError(t, daemons[0].Commit(c))
	var mu sync.Mutex
	went := map[string]int{}
	var all sync.WaitGroup
	for _, s := range daemons {
		d, err := notify.NewDeliverer(s, nil, nil, sendFunc(func(to string) error {
			mu.Lock()
			defer mu.Unlock()
			went[to]++
			return nil
		}), notify.DefaultRetryPlan(), nil)
		require.NoError(t, err)
		all.Go(func() {
			_, err := d.Deliver(t.Context(), sent)
			assert.NoError(t, err)
		})
	}
	all.Wait()
	assert.Len(t, went, letters)
	for to, n := range went {
		assert.Equal(t, 1, n, to)
	}
	for m, err := range daemons[0].Messages(loops.Delivered) {
		require.NoError(t, err)
		delete(went, m.To)
	}
	assert.Empty(t, went, "each is on record as delivered")
}
