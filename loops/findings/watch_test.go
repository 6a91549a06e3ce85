// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops/findings"
)

// failed and good are n lives that ended in a failure, or are good, at an age.
func failed(n int, age float64, with bool) findings.Case {
	return findings.Case{Life: findings.Life{Lower: age, Upper: age, Count: n}, With: with}
}

func good(n int, age float64, with bool) findings.Case {
	return findings.Case{Life: findings.Life{Lower: age, Upper: math.Inf(1), Count: n}, With: with}
}

// asked answers one trait.
func asked(t testing.TB, cases ...findings.Case) findings.TraitAnswer {
	t.Helper()
	got, err := findings.Explore([]findings.Trait{{Name: "old make", Cases: cases}})
	require.NoError(t, err)
	return got[0]
}

// Fifteen old charges watched for 36 months, of which nine failed, beside
// fifteen new ones watched for 8, of which one did, were called more than
// chance, p = 0.005: the old ones had four times as long to fail.
func TestLongerWatchedIsNoPattern(t *testing.T) {
	t.Parallel()
	var cases []findings.Case
	for _, age := range []float64{5, 9, 12, 16, 20, 23, 27, 31, 35} {
		cases = append(cases, failed(1, age, true))
	}
	cases = append(cases, good(6, 36, true), failed(1, 6, false), good(14, 8, false))
	a := asked(t, cases...)
	assert.Greater(t, a.Ratio.P, 0.5)
	assert.InDelta(t, 9, a.Ratio.With.Expected, 0.2)
	assert.Contains(t, a.Sentence+fmt.Sprint(a.Refused), "no result could have been significant", "only two failures had others beside them")
}

// What parts the failures is a pattern, whatever the follow-up.
func TestPatternIsFound(t *testing.T) {
	t.Parallel()
	a := asked(t, failed(4, 6, true), failed(4, 11, true), failed(1, 20, false), good(2, 24, true), good(19, 24, false))
	assert.Less(t, a.Adjusted, 0.001)
	assert.Contains(t, a.Sentence, "8 of 10 charges with it failed and 1 of 20 without it.")
	assert.Contains(t, a.Sentence, "More than chance explains")
	assert.Contains(t, a.Sentence, "an idea and no proof")
}

// Which kind of life a failure is hardly matters: one that lies within a day
// counts as one at a known age.
func TestNarrowIntervalsCompareAsKnownAges(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	for range 30 {
		var known, narrow []findings.Case
		for i := range 24 {
			age, watched := 48*rng.ExpFloat64(), 10+40*rng.Float64()
			c := good(1, watched, i%3 == 0)
			if age < watched {
				c = failed(1, age, i%3 == 0)
			}
			c.Life.Entry = c.Life.Lower * 0.5 * float64(i%2)
			known = append(known, c)
			if c.Life.Failed() {
				c.Life.Upper += 1e-7
			}
			narrow = append(narrow, c)
		}
		a, b := asked(t, known...), asked(t, narrow...)
		assert.InDelta(t, a.Ratio.P, b.Ratio.P, 1e-4)
		assert.InDelta(t, a.Ratio.With.Expected, b.Ratio.With.Expected, 1e-4)
	}
}

// One look at one age: every failure is a draw from the same loops.
func TestOneLookIsADraw(t *testing.T) {
	t.Parallel()
	left := func(n int, with bool) findings.Case {
		return findings.Case{Life: findings.Life{Upper: 12, Count: n}, With: with}
	}
	a := asked(t, left(6, true), left(0+1, false), good(4, 12, true), good(29, 12, false))
	// Of 7 draws, each with the chance 1/4, six or more.
	assert.InDelta(t, 2*(7*math.Pow(0.25, 6)*0.75+math.Pow(0.25, 7)), a.Ratio.P, 1e-12)
	assert.InDelta(t, 7.0/4, a.Ratio.With.Expected, 1e-12)
}

// The verdict and the limits agree, turning the sides over turns the ratio over,
// kinds are never pooled, and the unit of age is nothing.
func TestComparisonsAgreeWithThemselves(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := anyLives(rt, every(), true, 0)
		var cases, turned, scaled []findings.Case
		for _, l := range rows {
			c := findings.Case{Life: l, With: rapid.Bool().Draw(rt, "with"), Kind: rapid.SampledFrom([]string{"a", "b"}).Draw(rt, "kind")}
			cases = append(cases, c)
			o := c
			o.With = !c.With
			turned = append(turned, o)
			o = c
			o.Life.Lower, o.Life.Upper, o.Life.Entry = 64*l.Lower, 64*l.Upper, 64*l.Entry
			scaled = append(scaled, o)
		}
		r := asked(t, cases...).Ratio
		if math.IsNaN(r.P) {
			require.True(rt, math.IsNaN(asked(t, turned...).Ratio.P))
			return
		}
		if math.Abs(r.P-0.05) > 1e-9 {
			require.Equal(rt, r.P < 0.05, r.Lower > 1 || r.Upper < 1, "%+v", r)
		}
		require.LessOrEqual(rt, r.Attainable, r.P+1e-12)
		require.InDelta(rt, float64(r.With.Failures+r.Without.Failures), r.With.Expected+r.Without.Expected, 1e-9)
		o := asked(t, turned...).Ratio
		require.InDelta(rt, r.P, o.P, 1e-6)
		if r.Lower > 0 {
			require.InEpsilon(rt, 1/r.Lower, o.Upper, 1e-4)
		}
		require.InDelta(rt, r.P, asked(t, scaled...).Ratio.P, 1e-6)
		// Loops of a kind that has nothing to compare change nothing.
		more := append(slices.Clone(cases), findings.Case{Life: findings.Life{Lower: 9, Upper: 9, Count: 5}, With: true, Kind: "c"}, findings.Case{Life: findings.Life{Lower: 20, Upper: math.Inf(1), Count: 5}, With: true, Kind: "c"})
		require.InDelta(rt, r.P, asked(t, more...).Ratio.P, 1e-9)
	})
}

func TestExplore(t *testing.T) {
	t.Parallel()
	soft := []findings.Case{failed(5, 12, true), failed(1, 12, false), good(6, 24, true), good(18, 24, false)}
	got, err := findings.Explore([]findings.Trait{
		{"soft tubing", soft},
		{"reservoir", []findings.Case{failed(3, 12, true), failed(3, 12, false), good(12, 24, true), good(12, 24, false)}},
		{"nickel", []findings.Case{failed(6, 12, false), good(24, 24, false)}},
		{"aluminium", []findings.Case{failed(2, 12, true), good(6, 24, true), good(14, 24, false)}},
	})
	require.NoError(t, err)
	for _, a := range got {
		assert.True(t, a.Exploratory)
		assert.Equal(t, 3, a.Compared)
	}
	// Three traits can be tested; the smallest p is tripled.
	assert.InDelta(t, 3*got[0].Ratio.P, got[0].Adjusted, 1e-12)
	assert.Contains(t, got[0].Sentence, "corrected for the 3 traits compared")
	assert.Contains(t, got[0].Firmer, "register a watch")
	assert.Equal(t, 1.0, got[1].Adjusted)
	require.Len(t, got[2].Refused, 1)
	assert.Contains(t, got[2].Refused[0].Why, "no charge on record has it")
	assert.True(t, math.IsNaN(got[2].Adjusted))
	require.Len(t, got[3].Refused, 1)
	assert.Contains(t, got[3].Refused[0].Why, "no result could have been significant")
	assert.Empty(t, got[3].Sentence)

	_, err = findings.Explore([]findings.Trait{{"broken", []findings.Case{good(-1, 2, true)}}})
	var bad *findings.InvalidError
	require.ErrorAs(t, err, &bad)
	assert.Contains(t, err.Error(), "broken")
}

// Whether a result could have been significant is asked of the p that is told,
// which is corrected for all traits compared.
func TestNoResultCouldHaveBeenCountsTheTraits(t *testing.T) {
	t.Parallel()
	cases := []findings.Case{failed(3, 12, true), good(5, 24, true), good(24, 24, false)}
	alone := asked(t, cases...)
	require.Empty(t, alone.Refused)
	require.Less(t, alone.Ratio.Attainable, 0.05)
	var traits []findings.Trait
	for range 5 {
		traits = append(traits, findings.Trait{Name: "x", Cases: cases})
	}
	got, err := findings.Explore(traits)
	require.NoError(t, err)
	require.Len(t, got[0].Refused, 1)
	assert.Contains(t, got[0].Refused[0].Why, "corrected for the 5 traits compared")
}

func TestExploreSaysWhichSideIsMissing(t *testing.T) {
	t.Parallel()
	for want, cases := range map[string][]findings.Case{
		"no healthy charge is on record": {failed(4, 12, true), failed(2, 12, false)},
		"no failed charge is on record":  {good(4, 12, true), good(2, 12, false)},
		"every charge on record has it":  {failed(4, 12, true), good(2, 12, true)},
		"no charge on record has it":     {failed(4, 12, false), good(2, 12, false)},
		"at no age of a failure":         {failed(4, 12, true), good(2, 6, false)},
	} {
		got := asked(t, cases...)
		require.Len(t, got.Refused, 1)
		assert.Contains(t, got.Refused[0].Why, want)
	}
}

func TestOneSidedRatiosAreBounds(t *testing.T) {
	t.Parallel()
	always := asked(t, failed(8, 12, true), good(6, 24, true), good(24, 24, false))
	never := asked(t, failed(9, 12, false), good(14, 24, true), good(6, 24, false))
	assert.Contains(t, always.Sentence, "at least 2.")
	assert.Contains(t, never.Sentence, "at most 0.")
	for _, a := range []findings.TraitAnswer{always, never} {
		assert.NotContains(t, a.Sentence, "Inf")
	}
}

// A watch counts what happens from its day on: a charge enters at the age it
// had then, and what it had been through before tests nothing.
func TestWatchIsLateEntry(t *testing.T) {
	t.Parallel()
	l, ok := failed(1, 14, true).Life.From(10)
	require.True(t, ok)
	assert.Equal(t, 10.0, l.Entry)
	_, ok = failed(1, 14, true).Life.From(14)
	assert.False(t, ok, "it had failed by then")
	_, ok = good(1, 9, true).Life.From(10)
	assert.False(t, ok, "nothing was seen of it since")
	l, ok = findings.Life{Lower: 6, Upper: 18, Count: 1}.From(10)
	require.True(t, ok)
	assert.Equal(t, 10.0, l.Lower, "nobody knew of a failure then")
	l, ok = good(1, 9, true).Life.From(0)
	require.True(t, ok)
	assert.Zero(t, l.Entry, "filled later")
}

func TestWatchIsReadOnce(t *testing.T) {
	t.Parallel()
	w := findings.Watch{Trait: "soft tubing", Registered: "2026-03-01", ReadAt: 5}
	cases := []findings.Case{failed(4, 12, true), good(5, 24, true), good(24, 24, false)}
	a, err := w.Test(cases)
	require.NoError(t, err)
	assert.True(t, math.IsNaN(a.Ratio.P))
	assert.Contains(t, a.Refused[0].Why, "4 have come. Missing: 1 failure more.")
	a, err = w.Test(append(cases, failed(1, 20, true)))
	require.NoError(t, err)
	assert.Contains(t, a.Sentence, "Since 2026-03-01, soft tubing: 5 of 10 charges with it failed and 0 of 24 without it.")
	assert.Contains(t, a.Sentence, "More than chance explains")
	assert.False(t, a.Exploratory)
	w.ReadAt = 0
	a, err = w.Test(cases)
	require.NoError(t, err)
	assert.Contains(t, a.Sentence, "read again and again")
}

// TestCampaignWatches measures how often a watch finds a pattern where there is
// none, on loops that were on record before its day and are looked at
// otherwise on either side.
func TestCampaignWatches(t *testing.T) {
	t.Parallel()
	runs := campaign(200, 4000)
	for _, every := range [][2]float64{{6, 6}, {3, 12}, {12, 3}, {0, 6}} {
		t.Run(fmt.Sprint("looks every ", every), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(3, uint64(every[0])))
			alarms, read := 0, 0
			for range runs {
				var cases []findings.Case
				for i, s := range []side{{n: 20, from: 30, to: 60, every: every[0]}, {n: 20, from: 30, to: 60, every: every[1]}} {
					for _, l := range s.lives(rng, 2, 48) {
						if l, ok := l.From(30 * rng.Float64()); ok {
							cases = append(cases, findings.Case{Life: l, With: i == 0})
						}
					}
				}
				a, err := findings.Watch{Trait: "x", Registered: "2026-03-01", ReadAt: 5}.Test(cases)
				require.NoError(t, err)
				read++
				if a.Ratio.P < 0.05 {
					alarms++
				}
			}
			got := float64(alarms) / float64(read)
			t.Logf("false alarms %.1f %% of %d", 100*got, read)
			assert.LessOrEqual(t, got, 0.05+3*math.Sqrt(0.05*0.95/float64(read)))
		})
	}
}
