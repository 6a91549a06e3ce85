// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
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
	require.NoError(t, daemons[0].Commit(lettersTo(letters)))
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

// lettersTo are letters to as many addresses.
func lettersTo(letters int) loops.Change {
	c := loops.Change{At: sent, By: "test", Action: "mail", Owners: []loops.Owner{{ID: 1, Name: "Ana Fern"}}}
	for n := range letters {
		key := loops.NewMessageKey(1, loops.DayOf(sent.AddDate(0, 0, n), time.UTC), loops.PurposeReminder, "")
		c.Messages = append(c.Messages, loops.Message{Key: key, Owner: 1, Purpose: loops.PurposeReminder, From: env.From, To: fmt.Sprintf("ana%d@garden.example", n),
			Subject: "a look", Raw: []byte("From: a@b.example\r\n\r\nx\r\n"), Status: loops.Queued, Created: sent, NextAttempt: sent, PointlessAfter: sent.AddDate(0, 0, 30)})
	}
	return c
}

// A daemon that stands still in the middle of a conversation, until another has
// delivered the letter, costs one copy: what it then says about it is refused, and
// it goes on with the others.
func TestADaemonThatStoodStillIsOvertaken(t *testing.T) {
	t.Parallel()
	for name, path := range map[string]func() string{
		"one process": func() string { return filepath.Join(t.TempDir(), "register.db") },
		"a database":  func() string { return peer.StartPostgres(t).Address("") },
	} {
		t.Run(name, func(t *testing.T) {
			s := registerAt(t, path())
			require.NoError(t, s.Commit(lettersTo(3)))
			var mu sync.Mutex
			went := map[string]int{}
			send := func(to string) {
				mu.Lock()
				defer mu.Unlock()
				went[to]++
			}
			deliver := func(at time.Time, transport sendFunc) int {
				d, err := notify.NewDeliverer(s, nil, nil, transport, notify.RetryPlan{time.Minute}, nil)
				if !assert.NoError(t, err) {
					return 0
				}
				d.Share()
				report, err := d.Deliver(t.Context(), at)
				assert.NoError(t, err)
				return report.Delivered
			}
			still, goes, woke := make(chan bool), make(chan bool), make(chan int, 1)
			first := true
			go func() {
				woke <- deliver(sent, func(to string) error {
					if first {
						first = false
						close(still)
						<-goes
					}
					send(to)
					return &notify.SendError{Temporary: true, Code: 451, Status: "4.2.2", Err: errors.New("451 later")}
				})
			}()
			<-still
			other := func(to string) error { send(to); return nil }
			assert.Equal(t, 2, deliver(sent.Add(20*time.Minute), other), "that one may still be under way, by a clock that is slow")
			assert.Equal(t, 1, deliver(sent.Add(23*time.Minute), other))
			close(goes)
			<-woke
			assert.Zero(t, deliver(sent.Add(24*time.Hour), other))
			assert.Equal(t, map[string]int{"ana0@garden.example": 2, "ana1@garden.example": 1, "ana2@garden.example": 1}, went)
			for m, err := range s.Messages("") {
				require.NoError(t, err)
				assert.Equal(t, loops.Delivered, m.Status, m.Key)
			}
		})
	}
}

// slowLine takes long to open and nearly as long as it may to send.
type slowLine struct{ send func() }

func (slowLine) Open(context.Context) error { time.Sleep(19 * time.Minute); return nil }
func (l slowLine) Send(context.Context, notify.Envelope, []byte) error {
	l.send()
	return nil
}
func (slowLine) End() {}

// A message is this daemon's for as long as a conversation about it may take,
// however long the line took to open before.
func TestASlowLineTakesNothingOffTheTime(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b := newBox("1")
		var free time.Time
		d, err := notify.NewDeliverer(b, nil, nil, slowLine{func() { free = b.messages["1"].NextAttempt }}, notify.RetryPlan{time.Minute}, nil)
		require.NoError(t, err)
		d.Share()
		_, err = d.Deliver(t.Context(), sent)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, free.Sub(sent), 19*time.Minute+20*time.Minute, "free for others before it can have ended")
	})
}
