// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// The mean number of failures per machine and its robust error are those of R's
// survfit with a cluster for each machine.
func TestMeanFailuresAgreesWithR(t *testing.T) {
	t.Parallel()
	var machines []findings.History
	for _, r := range reference(t, "data_recurrence.csv") {
		machines = append(machines, findings.History{From: r.number(t, "from"), To: r.number(t, "to"), Failures: numbers(t, strings.ReplaceAll(r["failures"], "-", ""))})
	}
	steps, err := findings.MeanFailures(machines)
	require.NoError(t, err)
	want := reference(t, "recurrence.csv")
	require.Len(t, steps, len(want))
	for i, r := range want {
		s := steps[i]
		near(t, r.number(t, "time"), s.Age)
		assert.Equal(t, r["n_risk"], strconv.Itoa(s.AtRisk))
		assert.Equal(t, r["n_event"], strconv.Itoa(s.Failures))
		near(t, r.number(t, "mean"), s.Mean)
		near(t, r.number(t, "se"), s.SE)
		assert.Less(t, s.Lower, s.Mean)
		assert.Greater(t, s.Upper, s.Mean)
	}
}

func TestMeanFailuresRefuses(t *testing.T) {
	t.Parallel()
	for column, h := range map[string]findings.History{"to": {From: 5, To: 5}, "failures": {To: 9, Failures: []float64{10}}} {
		_, err := findings.MeanFailures([]findings.History{{To: 1}, h})
		var bad *findings.InvalidError
		require.ErrorAs(t, err, &bad)
		assert.Equal(t, column, bad.Column)
		assert.Equal(t, 2, bad.Line)
	}
}
