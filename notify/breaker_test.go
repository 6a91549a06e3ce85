// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
)

func refusedAddressError() error {
	return &notify.SendError{Code: 550, Status: "5.1.1", Address: true, Err: errors.New("550 5.1.1 no such user")}
}

// A relay that refuses most of a run is at fault: all of it waits and nobody is
// given up. Fewer than half, and one alone, are about the addresses.
func TestARelayThatRefusesMostIsAtFault(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		mails, bad int // the bad ones are tried first
		fault      bool
		tried      int
	}{
		{1, 1, false, 1}, {2, 2, false, 2}, {3, 3, true, 3}, {4, 3, true, 4}, {300, 300, true, 5},
		{8, 4, false, 8}, {20, 3, false, 20}, {300, 4, false, 300},
	} {
		t.Run(fmt.Sprintf("%d of %d", tc.bad, tc.mails), func(t *testing.T) {
			t.Parallel()
			var keys []loops.MessageKey
			for n := range tc.mails {
				keys = append(keys, loops.MessageKey(fmt.Sprintf("%03d", n)))
			}
			b, tried := newBox(keys...), 0
			rep, err := deliverer(t, b, func(to string) error {
				if tried++; tried <= tc.bad {
					return refusedAddressError()
				}
				return nil
			}).Deliver(t.Context(), sent)
			require.NoError(t, err)
			assert.Equal(t, tc.tried, tried)
			if !tc.fault {
				assert.NoError(t, rep.RelayFault)
				assert.Len(t, b.bad, tc.bad, "addresses given up")
				assert.Equal(t, notify.Report{Delivered: tc.mails - tc.bad, Refused: tc.bad}, rep)
				return
			}
			require.ErrorContains(t, rep.RelayFault, fmt.Sprintf("refused %d of the %d recipients", min(tc.bad, tc.tried), tc.tried))
			assert.Empty(t, b.bad, "nobody is given up")
			for _, m := range b.messages {
				assert.NotEqual(t, loops.Refused, m.Status)
				assert.LessOrEqual(t, m.Attempts, 1)
			}
			// The relay comes to its senses.
			later := rep.RetryAt
			rep, err = deliverer(t, b, func(string) error { return nil }).Deliver(t.Context(), later)
			require.NoError(t, err)
			assert.Positive(t, rep.Delivered)
			for _, m := range b.messages {
				assert.Equal(t, loops.Delivered, m.Status)
			}
		})
	}
}

// A server that takes mail and hangs up before it says so gets three copies and
// no more, all of the same bytes.
func TestAMessageWhoseReplyIsLostAgainAndAgainIsHeld(t *testing.T) {
	t.Parallel()
	b, tries := newBox("a"), 0
	m := b.messages["a"]
	m.PointlessAfter = time.Time{}
	b.messages["a"] = m
	d := deliverer(t, b, func(string) error {
		tries++
		return &notify.SendError{Temporary: true, Unsure: true, Err: errors.New("smtp DATA: EOF")}
	})
	held := 0
	for hour := range 200 {
		rep, err := d.Deliver(t.Context(), sent.Add(time.Duration(hour)*time.Hour))
		require.NoError(t, err)
		held += rep.Held
	}
	assert.Equal(t, 3, tries)
	assert.Equal(t, 1, held)
	assert.Equal(t, loops.Held, b.messages["a"].Status)
	assert.Contains(t, b.messages["a"].LastError, "its reply was lost 3 times")
}
