// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
)

var filled = loops.Day{Year: 2025, Month: 1, Dom: 1}

// charge is a workshop's charge in an open loop that was known good at an age in
// months, and failed then if a cause is given.
func charge(good float64, cause loops.Cause, traits ...evidence.Trait) evidence.Case {
	c := evidence.Case{
		Tag: loops.Tag("T" + string(cause)), Origin: loops.WorkshopFill, Filled: filled, Ended: filled.AddDays(int(good * 30.4375)), Failed: cause != "", Cause: cause, Traits: traits,
		Life: findings.Life{Lower: good, Upper: math.Inf(1), Count: 1, Cause: string(cause)},
	}
	if c.Failed {
		c.Life.Upper = good
	}
	return c
}

// plainPattern is eight charges with the trait of which seven clogged, beside
// twenty good ones without.
func plainPattern(with, without evidence.Trait) []evidence.Case {
	var cases []evidence.Case
	for i := range 7 {
		cases = append(cases, charge(6+float64(i), loops.CauseClog, with))
	}
	cases = append(cases, charge(20, "", with))
	for range 20 {
		cases = append(cases, charge(20, "", without))
	}
	return cases
}

// The first page tells of a pattern that chance does not explain and accuses
// nobody who makes or sells.
func TestFirstPageTellsOfPatternsOnly(t *testing.T) {
	t.Parallel()
	soft, hard := evidence.Trait{Key: "tubing", Value: "soft PVC"}, evidence.Trait{Key: "tubing", Value: "EPDM"}
	learnt, err := evidence.Of(plainPattern(soft, hard))
	require.NoError(t, err)
	require.Len(t, learnt.Notices, 1)
	assert.Equal(t, "tubing=soft PVC", learnt.Notices[0].Trait)
	assert.Contains(t, learnt.Notices[0].Text, "7 of 8 charges with tubing soft PVC clogged;")
	assert.Contains(t, learnt.Notices[0].Reason, "More than chance explains")

	for _, key := range []string{"maker", "model", "product", "lot"} {
		named := plainPattern(evidence.Trait{Key: key, Value: "A"}, evidence.Trait{Key: key, Value: "B"})
		learnt, err := evidence.Of(named)
		require.NoError(t, err)
		assert.Empty(t, learnt.Notices, key)
		asked, err := evidence.Pattern(named, loops.CauseClog)
		require.NoError(t, err)
		assert.Contains(t, asked.Lines[0].Sentence, "More than chance explains", "whoever asks is told")

		for i := range named { // the same charges have soft tubing
			named[i].Traits = append(named[i].Traits, map[string]evidence.Trait{"A": soft, "B": hard}[named[i].Traits[0].Value])
		}
		learnt, err = evidence.Of(named)
		require.NoError(t, err)
		assert.Empty(t, learnt.Notices, "%s, alike", key)
	}

	alike := append(plainPattern(soft, hard), plainPattern(hard, soft)...)
	learnt, err = evidence.Of(alike)
	require.NoError(t, err)
	assert.Empty(t, learnt.Notices, "many failures and no pattern")
}

// Who says that all is fine has no pump that stopped and no leak; a clog may
// creep. So it narrows the span only where failures are such as are noticed.
func TestFineNarrowsWhatOwnersNotice(t *testing.T) {
	t.Parallel()
	look := func(cause loops.Cause, fine bool) evidence.WhenLook {
		var cases []evidence.Case
		for i := range 4 {
			cases = append(cases, charge(5+float64(i), cause))
		}
		for range 10 {
			c := charge(6, "")
			if fine {
				c.Fine = filled.AddDays(600)
			}
			cases = append(cases, c)
		}
		answers, err := evidence.WhenToLook(cases, loops.Policy{}, findings.DefaultCosts(), filled.AddDays(700))
		require.NoError(t, err)
		require.Len(t, answers, 1)
		return answers[0]
	}
	pumps, said := look(loops.CausePump, false), look(loops.CausePump, true)
	assert.Greater(t, said.B10Lower, pumps.B10Lower)
	assert.Greater(t, said.Early, pumps.Early)
	assert.Equal(t, pumps.Late, said.Late, "good until today is the most there can be")
	assert.Equal(t, pumps.Basis, said.Basis, "and no measurement")
	assert.Contains(t, strings.Join(said.Sentences, " "), "For 137 loop-months more the owners would have noticed a pump that stopped or a leak; that rules out no clog.")

	clogs, said := look(loops.CauseClog, false), look(loops.CauseClog, true)
	assert.Equal(t, clogs.B10Lower, said.B10Lower)
}

// Dear failures call for earlier looks.
func TestCostsMoveTheLook(t *testing.T) {
	t.Parallel()
	cases := plainPattern(evidence.Trait{Key: "tubing", Value: "soft PVC"}, evidence.Trait{Key: "tubing", Value: "EPDM"})
	at := func(failure float64) evidence.WhenLook {
		answers, err := evidence.WhenToLook(cases, loops.Policy{}, findings.Costs{Visit: 1, Waste: 0.5, Failure: failure}, filled.AddDays(700))
		require.NoError(t, err)
		return answers[0]
	}
	dear, cheap := at(30), at(5)
	assert.NotEqual(t, dear.Sentences, cheap.Sentences)
}

// Ages of factory and workshop charges, of sealed and of open loops are never in
// one answer, nor in one file.
func TestHowLongNeverPools(t *testing.T) {
	t.Parallel()
	var cases []evidence.Case
	for i := range 6 {
		open, sealed, made := charge(10+float64(i), ""), charge(20, ""), charge(30, "")
		sealed.Sealed = true
		made.Origin = loops.Factory
		cases = append(cases, open, sealed, made, charge(5, loops.CausePump))
	}
	answers, err := evidence.HowLong(cases, "")
	require.NoError(t, err)
	require.Len(t, answers, 3)
	assert.Equal(t, []string{"workshop charges in open loops", "workshop charges in sealed loops", "factory charges in open loops"},
		[]string{answers[0].Of, answers[1].Of, answers[2].Of})
	assert.Equal(t, []int{12, 6, 6}, []int{answers[0].Report.N, answers[1].Report.N, answers[2].Report.N})

	rows, err := evidence.RowsOf(answers, loops.Factory, "")
	require.NoError(t, err)
	assert.Len(t, rows, 6)
	rows, err = evidence.RowsOf(answers, loops.WorkshopFill, "sealed")
	require.NoError(t, err)
	assert.Len(t, rows, 6)
	_, err = evidence.RowsOf(answers, loops.WorkshopFill, "")
	var wrong *loops.InvalidError
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, "build", wrong.Field)
}

// A charge that failed at the age at which it was good, or failed earlier, never
// postpones a look.
func TestLooksAreMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		causes := []loops.Cause{loops.CauseClog, loops.CausePump, loops.CauseLeak, loops.CauseOther}
		cases := []evidence.Case{charge(8, loops.CauseClog), charge(9, "")}
		for range rapid.IntRange(1, 12).Draw(rt, "charges") {
			c := charge(rapid.Float64Range(1, 18).Draw(rt, "age"), rapid.SampledFrom(append(causes, "", "")).Draw(rt, "cause"))
			if !c.Failed && rapid.Bool().Draw(rt, "said fine") {
				c.Fine = filled.AddDays(rapid.IntRange(0, 600).Draw(rt, "fine"))
			}
			cases = append(cases, c)
		}
		look := func() evidence.WhenLook {
			answers, err := evidence.WhenToLook(cases, loops.Policy{}, findings.DefaultCosts(), filled.AddDays(620))
			require.NoError(rt, err)
			return answers[0]
		}
		before := look()
		at := rapid.IntRange(2, len(cases)-1).Draw(rt, "which")
		age := cases[at].Life.Lower
		if cases[at].Failed {
			age = rapid.Float64Range(0.5, age).Draw(rt, "sooner")
		}
		cause := cases[at].Cause
		if cause == "" {
			cause = rapid.SampledFrom(causes).Draw(rt, "ended by")
		}
		cases[at] = charge(age, cause)
		after := look()
		require.LessOrEqual(rt, after.Early, before.Early+1e-9)
		require.LessOrEqual(rt, after.Late, before.Late+1e-9)
	})
}

// What has no answer is named under its reason, and each reason told once.
func TestToldNamesEachReasonOnce(t *testing.T) {
	t.Parallel()
	refused := func(what, why string) evidence.PatternLine {
		return evidence.PatternLine{Refused: []findings.Refusal{{What: what, Why: why}}}
	}
	answered := evidence.PatternLine{Sentence: "Soft tubing: 7 of 8."}
	told, untold := evidence.Told([]evidence.PatternLine{refused("a", "too few"), answered, refused("b", "never"), refused("c", "too few")})
	assert.Equal(t, []evidence.PatternLine{answered}, told)
	assert.Equal(t, []findings.Refusal{{What: "a; c", Why: "too few"}, {What: "b", Why: "never"}}, untold)
}
