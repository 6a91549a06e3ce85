// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// ages makes lives from ages and, if there are any, flags of failure.
func ages(t testing.TB, times, failed []float64, failures int) findings.Lives {
	t.Helper()
	var rows []findings.Life
	for i, age := range times {
		l := findings.Life{Lower: age, Upper: math.Inf(1), Count: 1}
		if i < len(failed) && failed[i] == 1 || i >= len(times)-failures {
			l.Upper = age
		}
		rows = append(rows, l)
	}
	l, err := findings.NewLives(rows)
	require.NoError(t, err)
	return l
}

func TestWeibayesAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "weibayes.csv") {
		l := ages(t, numbers(t, r["times"]), nil, int(r.number(t, "failures")))
		got := findings.Weibayes(l, r.number(t, "beta"), 0.10, r.number(t, "conf"))
		near(t, r.number(t, "B10_lower"), got, r["id"])
		scale := findings.Weibayes(l, r.number(t, "beta"), -math.Expm1(-1), r.number(t, "conf"))
		near(t, r.number(t, "eta_lower"), scale, r["id"])
	}
}

func TestZeroFailureNAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "zero_failure_n.csv") {
		got, err := findings.ZeroFailureN(r.number(t, "p"), r.number(t, "conf"))
		require.NoError(t, err)
		assert.Equal(t, int(r.number(t, "n")), got)
	}
}
