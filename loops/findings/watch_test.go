// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// cases makes n lives that ended on the day.
func cases(n int, day string, failed, with bool) []findings.Case {
	out := make([]findings.Case, n)
	for i := range out {
		out[i] = findings.Case{Ended: day, Failed: failed, With: with}
	}
	return out
}

func join(parts ...[]findings.Case) []findings.Case {
	var out []findings.Case
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

func TestWatchCountsOnlyLaterLives(t *testing.T) {
	t.Parallel()
	w := findings.Watch{Trait: "soft tubing", Registered: "2026-03-01"}
	seen := join(cases(5, "2026-02-10", true, true), cases(20, "2026-02-20", false, false), cases(1, "2026-03-01", true, true))
	a, err := w.Test(seen)
	require.NoError(t, err)
	assert.Equal(t, len(seen), a.PassedOver)
	assert.Zero(t, a.Failures)
	assert.Empty(t, a.Sentence)
	require.Len(t, a.Refused, 1)
	assert.Contains(t, a.Refused[0].Why, "no failed loop is on record")

	later := join(seen, cases(4, "2026-05-01", true, true), cases(1, "2026-05-01", true, false), cases(6, "2026-06-01", false, true), cases(24, "2026-06-01", false, false))
	a, err = w.Test(later)
	require.NoError(t, err)
	assert.Empty(t, a.Refused)
	assert.Equal(t, 5, a.Failures)
	alone, err := findings.Table{FailedWith: 4, FailedWithout: 1, GoodWith: 6, GoodWithout: 24}.OddsRatio()
	require.NoError(t, err)
	assert.Equal(t, alone, a.OddsRatio)
	assert.False(t, a.Exploratory)
	assert.Contains(t, a.Sentence, "Since 2026-03-01, soft tubing: 4 of 5 failed loops have it, and 6 of 30 healthy ones. More than chance explains.")
	assert.Contains(t, a.Sentence, "read again and again")
}

func TestWatchIsReadOnce(t *testing.T) {
	t.Parallel()
	w := findings.Watch{Trait: "soft tubing", Registered: "2026-03-01", ReadAt: 5}
	early := join(cases(4, "2026-05-01", true, true), cases(30, "2026-05-01", false, false))
	a, err := w.Test(early)
	require.NoError(t, err)
	require.Len(t, a.Refused, 1)
	assert.Contains(t, a.Refused[0].Why, "read at 5 failures after 2026-03-01, and 4 have come. Missing: 1 failure more.")
	assert.True(t, math.IsNaN(a.OddsRatio.P), "no peeking")

	decided := join(early, cases(1, "2026-06-01", true, false))
	a, err = w.Test(decided)
	require.NoError(t, err)
	require.Empty(t, a.Refused)
	assert.NotContains(t, a.Sentence, "again and again")
	// What comes later changes nothing any more, in whichever order.
	b, err := w.Test(join(cases(50, "2026-06-02", true, false), decided))
	require.NoError(t, err)
	assert.Equal(t, a.OddsRatio, b.OddsRatio)
	assert.Equal(t, 5, b.Failures)
}

func TestWatchDoesNotPoolKinds(t *testing.T) {
	t.Parallel()
	// Within each fluid the trait makes no difference; pooled it seems to.
	var all []findings.Case
	add := func(n int, failed, with bool, kind string) {
		for _, c := range cases(n, "2026-05-01", failed, with) {
			c.Kind = kind
			all = append(all, c)
		}
	}
	add(20, true, true, "eg")
	add(4, true, false, "eg")
	add(20, false, true, "eg")
	add(4, false, false, "eg")
	add(1, true, true, "pg")
	add(5, true, false, "pg")
	add(10, false, true, "pg")
	add(50, false, false, "pg")
	w := findings.Watch{Trait: "reservoir", Registered: "2026-01-01", ReadAt: 30}
	a, err := w.Test(all)
	require.NoError(t, err)
	assert.InDelta(t, 1, a.OddsRatio.Estimate, 0.1)
	pooled, err := a.Counted.OddsRatio()
	require.NoError(t, err)
	assert.Less(t, pooled.P, 0.05, "the example must mislead when pooled")
	assert.Greater(t, a.OddsRatio.P, 0.5)
}

func TestWatchRefusesDays(t *testing.T) {
	t.Parallel()
	for _, day := range []string{"", "2026-13-01", "1 March", "2026-02-30"} {
		_, err := findings.Watch{Registered: day}.Test(nil)
		var bad *findings.InvalidError
		require.ErrorAs(t, err, &bad, day)
		assert.Equal(t, "registered", bad.Column)
		_, err = findings.Watch{Registered: "2026-01-01"}.Test([]findings.Case{{Ended: "2026-02-01"}, {Ended: day}})
		require.ErrorAs(t, err, &bad, day)
		assert.Equal(t, "ended", bad.Column)
		assert.Equal(t, 2, bad.Line)
		assert.Equal(t, day, bad.Value)
	}
}

func TestExplore(t *testing.T) {
	t.Parallel()
	got, err := findings.Explore([]findings.Trait{
		{"soft tubing", findings.Strata{{FailedWith: 5, FailedWithout: 1, GoodWith: 6, GoodWithout: 18}}},
		{"reservoir", findings.Strata{{FailedWith: 3, FailedWithout: 3, GoodWith: 12, GoodWithout: 12}}},
		{"nickel", findings.Strata{{FailedWith: 0, FailedWithout: 6, GoodWith: 0, GoodWithout: 24}}},
		{"aluminium", findings.Strata{{FailedWith: 2, GoodWith: 6, GoodWithout: 14}}},
	})
	require.NoError(t, err)
	soft, reservoir, nickel, aluminium := got[0], got[1], got[2], got[3]
	for _, a := range got {
		assert.True(t, a.Exploratory)
		assert.Equal(t, 4, a.Compared)
		text, err := json.Marshal(a.Answer())
		require.NoError(t, err)
		assert.Contains(t, string(text), `"n":`)
	}
	// Three traits can be tested; the smallest p is tripled.
	assert.InDelta(t, 3*soft.OddsRatio.P, soft.Adjusted, 1e-12)
	assert.Less(t, soft.OddsRatio.P, 0.05)
	assert.Greater(t, soft.Adjusted, 0.05)
	assert.Contains(t, soft.Sentence, "Chance can explain that.")
	assert.Contains(t, soft.Sentence, "corrected for the 4 traits compared")
	assert.Contains(t, soft.Sentence, "an idea and no proof")
	assert.Contains(t, soft.Firmer, "register a watch")
	assert.Equal(t, 1.0, reservoir.Adjusted)
	require.Len(t, nickel.Refused, 1)
	assert.Contains(t, nickel.Refused[0].Why, "no loop on record has it")
	assert.True(t, math.IsNaN(nickel.Adjusted))
	require.Len(t, aluminium.Refused, 1)
	assert.Contains(t, aluminium.Refused[0].Why, "no result could have been significant")
	assert.Contains(t, aluminium.Refused[0].Why, "at the least 4 failures")
	assert.Empty(t, aluminium.Sentence)

	_, err = findings.Explore([]findings.Trait{{"broken", findings.Strata{{FailedWith: -1}}}})
	var bad *findings.InvalidError
	require.ErrorAs(t, err, &bad)
	assert.Contains(t, err.Error(), "broken")
}

func TestExploreSaysWhichSideIsMissing(t *testing.T) {
	t.Parallel()
	for want, table := range map[string]findings.Table{
		"no healthy loop is on record": {FailedWith: 4, FailedWithout: 2},
		"no failed loop is on record":  {GoodWith: 4, GoodWithout: 2},
		"every loop on record has it":  {FailedWith: 4, GoodWith: 2},
		"no loop on record has it":     {FailedWithout: 4, GoodWithout: 2},
	} {
		got, err := findings.Explore([]findings.Trait{{"x", findings.Strata{table}}})
		require.NoError(t, err)
		require.Len(t, got[0].Refused, 1)
		assert.Contains(t, got[0].Refused[0].Why, want)
	}
}

func TestOneSidedOddsAreBounds(t *testing.T) {
	t.Parallel()
	got, err := findings.Explore([]findings.Trait{
		{"always", findings.Strata{{FailedWith: 6, GoodWith: 6, GoodWithout: 14}}},
		{"never", findings.Strata{{FailedWithout: 8, GoodWith: 14, GoodWithout: 6}}},
	})
	require.NoError(t, err)
	assert.Contains(t, got[0].Sentence, "at least 1.")
	assert.Contains(t, got[1].Sentence, "at most 0.")
	for _, a := range got {
		assert.NotContains(t, a.Sentence, "Inf", fmt.Sprint(a))
	}
}
