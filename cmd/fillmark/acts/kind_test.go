// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
)

func TestParseNumber(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text, unit string
		want       float64
	}{
		{"40W", "W", 40}, {" 1,5 h", "h", 1.5}, {"1.5", "", 1.5}, {"1200", "µS/cm", 1200}, {"1200\u00a0µS/cm", "µS/cm", 1200},
		{"-3", "", -3}, {"1e+06W", "W", 1e6}, {"2.5e-05", "", 2.5e-5}, {"1,2345", "", 1.2345},
	} {
		got, err := acts.ParseNumber(c.text, c.unit)
		require.NoError(t, err, c.text)
		assert.InEpsilon(t, c.want, got, 1e-12, c.text)
	}
	for _, c := range []struct{ text, unit, right string }{
		{"1,200W", "W", "nothing between thousands"}, {"1,200", "µS/cm", "nothing between thousands"}, {"1,200.5", "", "a number, such as 40"},
		{"0x10", "", "a number, such as 40"}, {"1_000", "", "a number, such as 40"}, {"NaN", "", "a number, such as 40"}, {"inf", "", "a number, such as 40"},
		{"1e400", "", "a number, such as 40"}, {"", "", "a number, such as 40"}, {"40", "W", "a number with its unit, such as 40W"}, {"40-60", "", "a number, such as 40"},
	} {
		_, err := acts.ParseNumber(c.text, c.unit)
		require.ErrorContains(t, err, c.right, c.text)
	}
}
