// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// sendsTo is a transport made of one function.
type sendsTo func(to string) error

func (sendsTo) Open(context.Context) error { return nil }

func (f sendsTo) Send(_ context.Context, e notify.Envelope, _ []byte) error { return f(e.To) }

func (sendsTo) End() {}

// Reminders to many owners leave in waves, the next judged while one is on its way.
// Each of those who stop mail in between has none of it, the others have one.
func TestManyRemindersLeaveWhileOwnersStopThem(t *testing.T) {
	t.Parallel()
	const owners = 60
	day := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	stamp := workshop.Stamp{At: day.At(9, time.UTC), By: "test"}
	b := benchRegister(t, owners, owners, day)
	swept, err := b.Sweep(stamp)
	require.NoError(t, err)
	require.Len(t, swept.Reminders, owners)
	had, stopped := map[string]int{}, map[string]bool{}
	var turn []string // the owners' numbers in the order of their letters' keys
	for n := range owners {
		turn = append(turn, strconv.Itoa(n+1))
	}
	slices.SortFunc(turn, func(a, b string) int { return strings.Compare(a+"/", b+"/") })
	d, err := notify.NewDeliverer(b.store, b.Workshop, nil, sendsTo(func(to string) error {
		assert.False(t, stopped[to], "%s had stopped it", to)
		had[to]++
		if len(had)%4 != 0 {
			return nil
		}
		// The next one, or one that is judged by now.
		skip := len(had) % 3
		for _, number := range turn {
			next := "owner" + number + "@garden.example"
			if had[next] > 0 || stopped[next] {
				continue
			}
			if skip--; skip >= 0 {
				continue
			}
			stopped[next] = true
			id, err := strconv.ParseUint(number, 10, 64)
			if err == nil {
				_, err = b.SetMail(stamp, loops.OwnerID(id), true)
			}
			return err
		}
		return nil
	}), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	report, err := d.Deliver(t.Context(), stamp.At)
	require.NoError(t, err)
	assert.NotEmpty(t, stopped)
	assert.Equal(t, len(stopped), report.Withdrawn)
	assert.Equal(t, owners-len(stopped), report.Delivered)
	for to, n := range had {
		assert.Equal(t, 1, n, to)
	}
}
