// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/inspection"
)

func stepLog(t *testing.T, dataset string) inspection.Log {
	t.Helper()
	var l inspection.Log
	for _, row := range table(t, "data_step.csv") {
		if row["dataset"] == dataset {
			l.Seconds = append(l.Seconds, number(t, row["t"]))
			l.Celsius = append(l.Celsius, number(t, row["temp"]))
		}
	}
	return l
}

// The fits of R, to what its own iteration leaves open.
func TestStepAgainstR(t *testing.T) {
	t.Parallel()
	for _, row := range table(t, "step.csv") {
		t.Run(row["dataset"], func(t *testing.T) {
			t.Parallel()
			l := stepLog(t, row["dataset"])
			got, err := inspection.FitStep(l)
			require.NoError(t, err)
			for _, c := range []struct {
				column string
				got    float64
				within float64 // relative
			}{
				{"Tinf", float64(got.End), 1e-7}, {"T0", float64(got.Start), 1e-7}, {"tau", got.Tau, 1e-6}, {"rss", got.RSS, 1e-10},
				{"tau_lo95", got.TauLow, 1e-8}, {"tau_hi95", got.TauHigh, 1e-8},
				{"se_Tinf", got.EndError, 1e-5}, {"init_slope", got.Slope, 1e-6}, {"se_slope", got.SlopeError, 1e-5},
			} {
				want := number(t, row[c.column])
				assert.InDelta(t, want, c.got, c.within*math.Abs(want), c.column)
			}
			assert.True(t, got.Told(l.Seconds[len(l.Seconds)-1]) == (row["dataset"] != "short"), "a log shorter than tau tells none")
		})
	}
}

func TestStepRefuses(t *testing.T) {
	t.Parallel()
	_, err := inspection.FitStep(inspection.Log{Seconds: []float64{0, 1, 2}, Celsius: []float64{1, 2, 3}})
	assert.ErrorContains(t, err, "at least 6 are needed")
	flat := inspection.Log{}
	for i := range 20 {
		flat.Seconds, flat.Celsius = append(flat.Seconds, float64(i)), append(flat.Celsius, 40)
	}
	_, err = inspection.FitStep(flat)
	assert.ErrorContains(t, err, "does not change")
}
