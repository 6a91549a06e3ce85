// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops/findings"
)

func anySeen(rt *rapid.T) []findings.Seen {
	return rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) findings.Seen {
		return findings.Seen{Failures: rapid.IntRange(0, 20).Draw(rt, "failures"), Warning: rapid.Float64Range(1.5, 12).Draw(rt, "warning")}
	}), 1, 4).Draw(rt, "seen")
}

// Without evidence the policy stands; a failure more, or the same failures in
// less time, never postpones a look; and the policy is left only where both ends
// of what is not known call for it.
func TestPlansAreMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		seen := anySeen(rt)
		policy := rapid.Float64Range(4, 18).Draw(rt, "policy")
		costs := findings.Costs{Visit: 1, Waste: rapid.Float64Range(0, 2).Draw(rt, "waste"), Failure: rapid.Float64Range(2, 50).Draw(rt, "failure")}
		known := rapid.Float64Range(0, 2000).Draw(rt, "known")
		hopeful := known + rapid.Float64Range(0, 2000).Draw(rt, "unseen")
		plan := func(seen []findings.Seen, known, hopeful float64) findings.Plan {
			p, err := findings.PlanLooks(seen, known, hopeful, policy, 3, costs)
			require.NoError(rt, err)
			return p
		}
		none := slices.Clone(seen)
		for i := range none {
			none[i].Failures = 0
		}
		require.InDelta(rt, policy, plan(none, 0, 0).Age, 1e-3*policy)
		is := plan(seen, known, hopeful)
		require.LessOrEqual(rt, is.Early, is.Late+1e-9)
		require.GreaterOrEqual(rt, is.Age, 3.0)
		if is.Early < policy && is.Late > policy {
			require.Equal(rt, policy, is.Age)
		}
		more := slices.Clone(seen)
		more[rapid.IntRange(0, len(more)-1).Draw(rt, "which")].Failures++
		require.LessOrEqual(rt, plan(more, known, hopeful).Age, is.Age+1e-9, "a charge failed that was good")
		sooner := rapid.Float64Range(0, known).Draw(rt, "sooner")
		require.LessOrEqual(rt, plan(seen, known-sooner, hopeful-sooner).Age, is.Age+1e-9, "it failed earlier")
	})
}

func TestPlansRefuse(t *testing.T) {
	t.Parallel()
	for column, costs := range map[string]findings.Costs{"visit": {Failure: 1}, "failure": {Visit: 1}, "waste": {Visit: 1, Failure: 1, Waste: -1}} {
		_, err := findings.PlanLooks([]findings.Seen{{Warning: 2}}, 10, 10, 12, 3, costs)
		var bad *findings.InvalidError
		require.ErrorAs(t, err, &bad)
		assert.Equal(t, column, bad.Column)
	}
	_, err := findings.PlanLooks([]findings.Seen{{Warning: 2}}, 10, 10, 0, 3, findings.DefaultCosts())
	require.ErrorContains(t, err, "policy")
}

// What owners say rules out what an owner would notice and nothing else: it
// narrows the span from below, and no further than if every failure would be
// noticed.
func TestNoticedNarrowsTheSpan(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		var known, since, all []findings.Life
		for range rapid.IntRange(3, 30).Draw(rt, "loops") {
			l := findings.Life{Lower: rapid.Float64Range(1, 20).Draw(rt, "good"), Upper: math.Inf(1), Count: 1}
			fine := l.Lower + rapid.Float64Range(0.5, 20).Draw(rt, "fine")
			if rapid.IntRange(0, 4).Draw(rt, "failed") == 0 {
				l.Upper = l.Lower
				all = append(all, l)
			} else {
				since = append(since, findings.Life{Entry: l.Lower, Lower: fine, Upper: math.Inf(1), Count: 1})
				all = append(all, findings.Life{Lower: fine, Upper: math.Inf(1), Count: 1})
			}
			known = append(known, l)
		}
		a, b, c := livesOf(rt, known), livesOf(rt, since), livesOf(rt, all)
		share := rapid.Float64Range(0, 1).Draw(rt, "share")
		without, upper := findings.LifeSpan(a, findings.Noticed{}, c, 0.1)
		some, same := findings.LifeSpan(a, findings.Noticed{Lives: b, Share: share}, c, 0.1)
		require.Equal(rt, upper, same)
		if a.Failures() >= findings.FewFailures {
			return // more time can also change the shape
		}
		whole, _ := findings.LifeSpan(a, findings.Noticed{Lives: b, Share: 1}, c, 0.1)
		const digits = 1e-9
		require.LessOrEqual(rt, without, some*(1+digits))
		require.LessOrEqual(rt, some, whole*(1+digits))
		asIfMeasured, _ := findings.LifeSpan(c, findings.Noticed{}, c, 0.1)
		require.InEpsilon(rt, asIfMeasured, whole, digits, "if every failure would be noticed")
	})
}

func livesOf(t require.TestingT, rows []findings.Life) findings.Lives {
	l, err := findings.NewLives(rows)
	require.NoError(t, err)
	return l
}

// TestCampaignSpan measures how often the span holds the true age by which one
// in ten has failed, where few owners return: of the good loops 30 % are measured
// once a year, the others never, and of failures nobody was to measure half are
// brought in. Of the failures 40 % are such as an owner notices; where owners
// answer, six in ten say each month that all is fine, until they notice one.
func TestCampaignSpan(t *testing.T) {
	t.Parallel()
	runs := campaign(60, 1000)
	for _, shape := range []float64{1, 2, 3} {
		truth := 48 * math.Pow(-math.Log(0.9), 1/shape)
		for _, answers := range []bool{false, true} {
			rng := rand.New(rand.NewPCG(30, uint64(shape)))
			covered, open := 0, 0
			var widths []float64
			for range runs {
				known, since, hopeful := returns(t, rng, shape)
				if !answers {
					since = findings.Noticed{}
				}
				lower, upper := findings.LifeSpan(known, since, hopeful, 0.10)
				if lower == 0 && math.IsInf(upper, 1) {
					open++
					continue
				}
				if lower <= truth && truth <= upper {
					covered++
				}
				widths = append(widths, upper/math.Max(lower, 0.1))
			}
			slices.Sort(widths)
			got := float64(covered) / float64(runs) // open ones do not count as covering
			t.Logf("shape %g, truth %.1f, owners answer %v: %.1f %% of %d, %d open, median upper over lower end %.2f", shape, truth, answers, 100*got, runs, open, widths[len(widths)/2])
			assert.GreaterOrEqual(t, got, 0.90-3*math.Sqrt(0.09/float64(runs)))
		}
	}
}

// returns draws 60 loops of which some come back and some owners answer.
func returns(t *testing.T, rng *rand.Rand, shape float64) (known findings.Lives, since findings.Noticed, hopeful findings.Lives) {
	t.Helper()
	var measured, said, best []findings.Life
	noticed, failures := 0, 0
	for range 60 {
		fails, today := 48*math.Pow(rng.ExpFloat64(), 1/shape), 12+36*rng.Float64()
		l := findings.Life{Count: 1, Upper: math.Inf(1)}
		comes, plain, answers := rng.Float64() < 0.3, rng.Float64() < 0.4, rng.Float64() < 0.6
		if comes {
			for look := 12.0; look <= today && look < fails; look += 12 {
				l.Lower = look
			}
		}
		if seen := fails < today && (comes || rng.IntN(2) == 0); seen {
			l.Lower, l.Upper = fails, fails
			failures++
			if plain {
				noticed++
			}
		} else {
			fine := math.Floor(today)
			if plain {
				fine = math.Min(fine, math.Floor(fails))
			}
			if answers && fine > l.Lower {
				said = append(said, findings.Life{Entry: l.Lower, Lower: fine, Upper: math.Inf(1), Count: 1})
			}
		}
		if l.Lower > 0 {
			measured = append(measured, l)
		}
		if !l.Failed() {
			l.Lower = today
		}
		best = append(best, l)
	}
	since = findings.Noticed{Lives: livesOf(t, said), Share: findings.NoticedShare(noticed, failures)}
	return livesOf(t, measured), since, livesOf(t, best)
}
