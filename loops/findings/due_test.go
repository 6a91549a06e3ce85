// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

func TestEvidenceAge(t *testing.T) {
	t.Parallel()
	good := func(age float64, n int) findings.Life {
		return findings.Life{Lower: age, Upper: math.Inf(1), Count: n}
	}
	failed := func(age float64, n int) findings.Life { return findings.Life{Lower: age, Upper: age, Count: n} }
	tests := []struct {
		name   string
		rows   []findings.Life
		goodAt float64
		want   float64 // figures of due_gamma.csv at the least of its shapes
		clause findings.Clause
	}{
		{"nothing known", nil, 0, 12, findings.ByDefault},
		{"ten good at 18", []findings.Life{good(18, 10)}, 0, 16.382174824643023, findings.ByPrior},
		{"two of ten failed", []findings.Life{failed(14, 2), good(18, 8)}, 0, 8.5964442019460954, findings.ByPrior},
		{"many good, none older than 18", []findings.Life{good(18, 1000)}, 0, 18, findings.BySeen},
		{"two good at 40 are not ground enough", []findings.Life{good(18, 1000), good(40, 2)}, 0, 18, findings.BySeen},
		{"three are", []findings.Life{good(18, 1000), good(40, 3)}, 0, 40, findings.BySeen},
		{"good at 12, nothing known", nil, 12, 12 * math.Pow(2, 1.0/3), findings.ByDefault},
		{"never further ahead than the default", []findings.Life{good(30, 100000)}, 30, 42, findings.BySeen},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			l, err := findings.NewLives(tt.rows)
			require.NoError(t, err)
			d, err := findings.NextDue(l, 12, tt.goodAt)
			require.NoError(t, err)
			assert.InEpsilon(t, tt.want, d.Age, 1e-6)
			assert.Equal(t, tt.clause, d.Clause)
			assert.Equal(t, l.N(), d.Basis.N)
			assert.Contains(t, d.Sentence, "Look at age ")
			assert.NotEmpty(t, d.Firmer)
			_, err = json.Marshal(d.Answer())
			require.NoError(t, err)
		})
	}
}

func TestEvidenceAgeFromManyFailures(t *testing.T) {
	t.Parallel()
	l := lives(t, "loops_syn", "")
	d, err := findings.EvidenceAge(l, 36)
	require.NoError(t, err)
	assert.Equal(t, findings.ByLikelihood, d.Clause)
	for _, r := range reference(t, "blife_lower_lrt.csv") {
		if r["dataset"] == "loops_syn" && r.number(t, "p") == 0.1 {
			near(t, r.number(t, "lower95_lr_t"), d.Age)
		}
	}
	assert.False(t, d.Chance, "wear is shown")
	assert.Equal(t, "Look at age 10.5: 32 of 120 loops on record failed, and with 95 % confidence at most one in ten of these loops has failed by then.", d.Sentence)
	assert.Less(t, d.ShapeLow, d.ShapeHigh)
	next, err := findings.NextDue(l, 36, 24)
	require.NoError(t, err)
	assert.Greater(t, next.Age, 24.0)
	assert.Less(t, next.Age-24, d.Age, "the risk grows, so the next look comes sooner")
}

func TestEvidenceAgeRefuses(t *testing.T) {
	t.Parallel()
	for _, age := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := findings.EvidenceAge(findings.Lives{}, age)
		var bad *findings.InvalidError
		require.ErrorAs(t, err, &bad)
		assert.Equal(t, "default age", bad.Column)
	}
	_, err := findings.NextDue(findings.Lives{}, 12, math.NaN())
	var bad *findings.InvalidError
	require.ErrorAs(t, err, &bad)
	assert.Equal(t, "good at", bad.Column)
}

// The bound for the next look at a loop good at an age is a profile: R finds
// the same by other code.
func TestLowerNextAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "next_lower.csv") {
		w, err := findings.FitWeibull(named(t, r["dataset"]))
		require.NoError(t, err)
		near(t, r.number(t, "lower95"), w.LowerNext(r.number(t, "p"), r.number(t, "good_at"), 0.95), r)
	}
}
