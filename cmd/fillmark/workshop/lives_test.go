// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

// A loop that no proof stands for, or that is retired, gains no life, as it is
// not known good in its folded state either.
func TestNoLifeWithoutProofOrOnceRetired(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	unproved := b.study(t, studied{})
	measuredGood(t, b, unproved, 100)
	retired := b.study(t, studied{good: []int{100}})
	measuredGood(t, b, retired, 200)
	// Told later, it was out of service by then.
	_, err := b.Do(later(210), retired, already(loops.Entry{Kind: loops.KindRetirement, Day: dayZero.AddDays(150), Retirement: &loops.Retirement{Reason: loops.Scrapped}}))
	require.NoError(t, err)
	cases, err := b.Cases()
	require.NoError(t, err)
	for _, c := range cases {
		file, err := b.File(c.Tag)
		require.NoError(t, err)
		assert.Equal(t, file.Loop.State.LastKnownGood, c.Ended, c.Tag)
		switch c.Tag {
		case unproved:
			assert.Equal(t, "never measured good since its fill", c.LeftOut)
		case retired:
			assert.Equal(t, dayZero.AddDays(100), c.Ended)
		}
	}
}
