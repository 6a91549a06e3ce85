// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// side describes how the loops of one side of a comparison are watched.
type side struct {
	n        int
	from, to float64 // months of follow-up
	entered  float64 // up to this age at entry
	every    float64 // months between looks; 0 is failures noticed at once
	group    string
}

// lives draws a side whose loops fail with the Weibull shape and scale.
func (s side) lives(rng *rand.Rand, shape, scale float64) []findings.Life {
	var rows []findings.Life
	for len(rows) < s.n {
		age := scale * math.Pow(rng.ExpFloat64(), 1/shape)
		entry := s.entered * rng.Float64()
		if age <= entry {
			continue // never came on record
		}
		end := entry + s.from + (s.to-s.from)*rng.Float64()
		l := findings.Life{Lower: end, Upper: math.Inf(1), Entry: entry, Count: 1, Group: s.group}
		switch {
		case s.every > 0:
			look := entry
			for look < end && look+s.every < age {
				look += s.every
			}
			l.Lower = look // the first look after the end tells of all
			if look < end {
				l.Upper = look + s.every
			}
		case age < end:
			l.Lower, l.Upper = age, age
		}
		rows = append(rows, l)
	}
	return rows
}

// equalHazards are registers in which both sides fail alike and are watched
// otherwise.
func equalHazards() map[string][2]side {
	return map[string][2]side{
		"old watched 36 months, new 8":             {{n: 15, from: 36, to: 36}, {n: 15, from: 8, to: 8}},
		"the same, looked at once":                 {{n: 15, from: 36, to: 36, every: 36}, {n: 15, from: 8, to: 8, every: 8}},
		"the same, looks every 6 and every 4":      {{n: 15, from: 36, to: 36, every: 6}, {n: 15, from: 8, to: 8, every: 4}},
		"noticed at once against every 12":         {{n: 15, from: 24, to: 48}, {n: 15, from: 24, to: 48, every: 12}},
		"joined aged up to 24, and new":            {{n: 15, from: 6, to: 18, entered: 24}, {n: 15, from: 12, to: 36}},
		"joined aged, looks every 6":               {{n: 15, from: 6, to: 18, entered: 24, every: 6}, {n: 15, from: 12, to: 36, every: 6}},
		"3 and 3":                                  {{n: 3, from: 20, to: 80}, {n: 3, from: 20, to: 80}},
		"3 and 12":                                 {{n: 3, from: 20, to: 80}, {n: 12, from: 20, to: 80}},
		"2 and 20":                                 {{n: 2, from: 20, to: 80}, {n: 20, from: 20, to: 80}},
		"4 long and 40 short":                      {{n: 4, from: 60, to: 60}, {n: 40, from: 10, to: 10}},
		"40 and 40":                                {{n: 40, from: 20, to: 80}, {n: 40, from: 20, to: 80}},
		"50 every 6 and 50 joined aged":            {{n: 50, from: 12, to: 48, every: 6}, {n: 50, from: 12, to: 24, entered: 24, every: 3}},
		"800 every 6 and 800 joined aged":          {{n: 800, from: 12, to: 48, every: 6}, {n: 800, from: 12, to: 24, entered: 24, every: 3}},
		"50 and 50 every 6, joined aged":           {{n: 50, from: 12, to: 48, entered: 24, every: 6}, {n: 50, from: 12, to: 48, entered: 24, every: 6}},
		"200 and 200 every 6":                      {{n: 200, from: 12, to: 48, every: 6}, {n: 200, from: 12, to: 48, every: 6}},
		"800 and 800 every 6, joined aged":         {{n: 800, from: 12, to: 48, entered: 24, every: 6}, {n: 800, from: 12, to: 48, entered: 24, every: 6}},
		"200 every 6 and 200 joined aged":          {{n: 200, from: 12, to: 48, every: 6}, {n: 200, from: 12, to: 24, entered: 24, every: 3}},
		"400 and 400, more than are drawn exactly": {{n: 400, from: 40, to: 80}, {n: 400, from: 20, to: 40}},
	}
}

// equally is a side of 100,000 loops, or nearly so, whose failures fall as often
// as the Weibull shape and scale say, so that no chance is left: the entries
// are spread evenly, and looks come at the same spans from each.
func (s side) equally(shape, scale float64) []findings.Life {
	const n, entries = 100_000, 48
	good := func(age float64) float64 { return math.Exp(-math.Pow(age/scale, shape)) }
	var rows []findings.Life
	add := func(lower, upper, entry, share float64) {
		if count := int(math.Round(n * share / entries)); count > 0 {
			rows = append(rows, findings.Life{Lower: lower, Upper: upper, Entry: entry, Count: count, Group: s.group})
		}
	}
	for i := range entries {
		entry := s.entered * (float64(i) + 0.5) / entries
		look := entry
		for look < entry+s.from {
			add(look, look+s.every, entry, (good(look)-good(look+s.every))/good(entry))
			look += s.every
		}
		add(look, math.Inf(1), entry, good(look)/good(entry))
	}
	return rows
}

// TestCompareOfAnySize: sides that fail alike do not differ more than chance
// explains however many loops there are, even where one joined aged and is
// looked at more often.
func TestCompareOfAnySize(t *testing.T) {
	t.Parallel()
	for _, sides := range [][2]side{
		{{from: 30, every: 6}, {from: 18, every: 3, entered: 24}},
		{{from: 36, every: 6}, {from: 36, every: 4}},
		{{from: 36, every: 12}, {from: 24, every: 5, entered: 30}},
		{{from: 24, every: 6, entered: 12}, {from: 24, every: 6, entered: 12}},
	} {
		for _, shape := range []float64{0.6, 1, 3} {
			a, b := sides[0], sides[1]
			a.group, b.group = "with", "without"
			h, err := findings.Compare([]findings.Lives{livesOf(t, append(a.equally(shape, 48), b.equally(shape, 48)...))}, "with")
			require.NoError(t, err)
			assert.GreaterOrEqual(t, h.P, 0.05, "%+v, shape %g: %+v", sides, shape, h)
		}
	}
}

// TestWhatLooksHide: a difference that hangs on where between the looks the
// failures fell is told as one that cannot be told, and what would tell; beside
// loops that were watched alike it is told.
func TestWhatLooksHide(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b                 side
		ofGroups, ofTrait    string
		hidden, hiddenReason string
	}{
		{
			side{from: 36, every: 12}, side{from: 24, every: 5, entered: 30},
			"It cannot be told whether they differ, because they were not watched at the same ages.",
			"Whether that is chance cannot be told, because the sides were not watched at the same ages: charges with it fail ", "",
			"It hangs on where between the looks the failures fell (p below 0.001 to 0.",
		},
		{side{from: 24, every: 6, entered: 12}, side{from: 24, every: 6, entered: 12}, "They differ by more than chance explains", "More than chance explains", "cannot be told", ""},
	} {
		c.a.group, c.b.group = "with", "without"
		rows := append(c.a.equally(0.6, 40), c.b.equally(0.6, 48)...)
		report := findings.Analyse(livesOf(t, rows), findings.FromFile)
		i := slices.IndexFunc(report.Answers, func(a findings.Answer) bool { return a.Question == "comparison" })
		require.GreaterOrEqual(t, i, 0)
		trait := findings.Trait{Name: "x"}
		for _, l := range rows {
			trait.Cases = append(trait.Cases, findings.Case{Life: l, With: l.Group == "with"})
		}
		answers, err := findings.Explore([]findings.Trait{trait})
		require.NoError(t, err)
		for sentence, wants := range map[string]string{report.Answers[i].Sentence: c.ofGroups, answers[0].Sentence: c.ofTrait} {
			assert.Contains(t, sentence, wants)
			assert.Contains(t, sentence, c.hiddenReason)
			if c.hidden != "" {
				assert.NotContains(t, sentence, c.hidden)
			}
		}
	}
}

// TestCampaignFalseAlarms measures how often loops that fail alike at the same
// age are told to differ: at most one time in twenty, however they were watched.
func TestCampaignFalseAlarms(t *testing.T) {
	t.Parallel()
	runs := campaign(150, 2000)
	for name, sides := range equalHazards() {
		for _, shape := range []float64{0.6, 1, 3} {
			t.Run(fmt.Sprintf("%s, shape %g", name, shape), func(t *testing.T) {
				t.Parallel()
				runs := runs
				switch sides[0].n {
				case 50:
					runs = campaign(50, 2000)
				case 200: // takes a minute
					runs = campaign(20, 1000)
				case 800:
					runs = campaign(1, 200)
				case 400:
					runs = campaign(20, 5000)
				}
				rng := rand.New(rand.NewPCG(uint64(10*shape), uint64(len(name))))
				alarms, asked := 0, 0
				for range runs {
					a, b := sides[0], sides[1]
					a.group, b.group = "with", "without"
					l, err := findings.NewLives(append(a.lives(rng, shape, 48), b.lives(rng, shape, 48)...))
					require.NoError(t, err)
					asked++
					h, err := findings.Compare([]findings.Lives{l}, "with")
					if err == nil && h.P < 0.05 {
						alarms++
					}
				}
				got := float64(alarms) / float64(asked)
				t.Logf("false alarms %.1f %% of %d", 100*got, asked)
				assert.LessOrEqual(t, got, 0.05+3*math.Sqrt(0.05*0.95/float64(asked)))
			})
		}
	}
}

// TestCampaignPower measures how often a difference is found that is there. Where
// both sides are watched alike that is as often as with limits that hold there
// alone (measured before: 77, 83, 70 % of 200 and 200); the least stands beside
// each, well below what is found.
func TestCampaignPower(t *testing.T) {
	t.Parallel()
	sides := equalHazards()
	for name, of := range map[string]struct{ worse, least float64 }{
		"200 and 200 every 6":              {1.5, 0.5},
		"50 and 50 every 6, joined aged":   {2, 0.3},
		"noticed at once against every 12": {4, 0.3},
		"50 every 6 and 50 joined aged":    {2, 0.05},
		"200 every 6 and 200 joined aged":  {1.5, 0.05},
	} {
		for _, shape := range []float64{0.6, 1, 3} {
			t.Run(fmt.Sprintf("%s, shape %g", name, shape), func(t *testing.T) {
				t.Parallel()
				runs := campaign(10, 300)
				if of.least < 0.1 && runs == 10 {
					t.Skip("a rare finding takes many runs: set FILLMARK_CAMPAIGN=full")
				}
				rng := rand.New(rand.NewPCG(uint64(10*shape), uint64(len(name))))
				found := 0
				for range runs {
					a, b := sides[name][0], sides[name][1]
					a.group, b.group = "with", "without"
					l := livesOf(t, append(a.lives(rng, shape, 48*math.Pow(of.worse, -1/shape)), b.lives(rng, shape, 48)...))
					if h, err := findings.Compare([]findings.Lives{l}, "with"); err == nil && h.P < 0.05 && h.Lower > 1 {
						found++
					}
				}
				share := float64(found) / float64(runs)
				t.Logf("%s, shape %g: found %.0f %% of %d", name, shape, 100*share, runs)
				assert.GreaterOrEqual(t, share, of.least)
			})
		}
	}
}

// A stratum in which nothing can differ counts on neither side: what is told is
// what was tested.
func TestCompareCountsWhatItTests(t *testing.T) {
	t.Parallel()
	failed := func(age float64, group string, n int) findings.Life {
		return findings.Life{Lower: age, Upper: age, Count: n, Group: group}
	}
	good := func(age float64, group string, n int) findings.Life {
		return findings.Life{Lower: age, Upper: math.Inf(1), Count: n, Group: group}
	}
	tested := livesOf(t, []findings.Life{failed(10, "a", 4), good(12, "a", 1), failed(11, "b", 2), good(12, "b", 5)})
	alone := livesOf(t, []findings.Life{failed(9, "a", 3), good(20, "a", 2)})
	none := livesOf(t, []findings.Life{good(9, "a", 3), good(20, "b", 4)})
	got, err := findings.Compare([]findings.Lives{alone, tested, none}, "a")
	require.NoError(t, err)
	want, err := findings.Compare([]findings.Lives{tested}, "a")
	require.NoError(t, err)
	assert.Equal(t, want, got)
	assert.Equal(t, []int{4, 5, 2, 7}, []int{got.With.Failures, got.With.N, got.Without.Failures, got.Without.N})

	all, err := findings.Compare([]findings.Lives{alone, none}, "a")
	require.ErrorIs(t, err, findings.ErrNoContrast)
	assert.Equal(t, []int{8, 4}, []int{all.With.N, all.Without.N})
}

// TestCompareOfManyFailures: where failures are many their shares are binned,
// and the ratio is still where Cox's score is zero, by other code over all of
// them.
func TestCompareOfManyFailures(t *testing.T) {
	t.Parallel()
	rows := million(20_000, false)
	l, err := findings.NewLives(rows)
	require.NoError(t, err)
	got, err := findings.Compare([]findings.Lives{l}, "a")
	require.NoError(t, err)

	slices.SortFunc(rows, func(x, y findings.Life) int { return -cmp.Compare(x.Lower, y.Lower) })
	var shares []float64
	failed, theirs := 0, 0
	for i, r := range rows { // the oldest first: those before are at risk
		if r.Group == "a" {
			theirs++
		}
		if r.Failed() {
			shares = append(shares, float64(theirs)/float64(i+1))
			if r.Group == "a" {
				failed++
			}
		}
	}
	require.Greater(t, len(shares), 5_000)
	score := func(ratio float64) float64 {
		mean := 0.0
		for _, s := range shares {
			mean += s * ratio / (s*ratio + 1 - s)
		}
		return mean - float64(failed)
	}
	low, high := 0.1, 10.0
	for range 60 {
		if mid := (low + high) / 2; score(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	assert.InEpsilon(t, low, got.Estimate, 1e-6)
}
