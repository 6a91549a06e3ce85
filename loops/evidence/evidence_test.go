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
		c := charge(6+float64(i), loops.CauseClog, with)
		c.Tag += loops.Tag(rune('A' + i))
		cases = append(cases, c)
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
	assert.Contains(t, learnt.Notices[0].Text, "7 of 8 charges with tubing soft PVC clogged, in 7 loops;")
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

// One bad loop that is filled again and again is one loop: the first page waits
// for three, and whoever asks is told how many there were.
func TestOneBadLoopIsNoPattern(t *testing.T) {
	t.Parallel()
	soft, hard := evidence.Trait{Key: "tubing", Value: "soft PVC"}, evidence.Trait{Key: "tubing", Value: "EPDM"}
	cases := plainPattern(soft, hard)
	of := func(tags ...loops.Tag) ([]loops.EvidenceNotice, evidence.PatternLine) {
		for i := range 7 {
			cases[i].Tag = tags[i%len(tags)]
		}
		learnt, err := evidence.Of(cases)
		require.NoError(t, err)
		asked, err := evidence.Pattern(cases, loops.CauseClog, soft)
		require.NoError(t, err)
		return learnt.Notices, asked.Lines[0]
	}
	notices, line := of("7K3QXA", "7K3QXB")
	assert.Empty(t, notices)
	assert.Equal(t, 2, line.FailedLoops)
	assert.Contains(t, line.Sentence, "7 of 8 charges with it failed")
	assert.Contains(t, line.Sentence, "The 7 that failed with it were in 2 loops; each counts as if it stood by itself.")

	notices, line = of("7K3QXA", "7K3QXB", "7K3QXC")
	require.Len(t, notices, 1)
	assert.Contains(t, notices[0].Text, "7 of 8 charges with tubing soft PVC clogged, in 3 loops;")
	assert.Equal(t, 3, line.FailedLoops)

	_, line = of("7K3QXA", "7K3QXB", "7K3QXC", "7K3QXD", "7K3QXE", "7K3QXF", "7K3QXG")
	assert.NotContains(t, line.Sentence, "each counts")
}

// A watch is read once its failures answer: a refusal is no reading.
func TestARefusalIsNoReading(t *testing.T) {
	t.Parallel()
	soft, hard := evidence.Trait{Key: "tubing", Value: "soft PVC"}, evidence.Trait{Key: "tubing", Value: "EPDM"}
	watch := loops.PatternWatch{Cause: loops.CauseClog, Trait: soft.String(), Registered: filled.AddDays(-1), ReadAt: 5}
	var cases []evidence.Case
	for i := range 5 { // half of the loops have it: no five failures could show anything
		cases = append(cases, charge(6+float64(i), loops.CauseClog, soft), charge(20, "", hard))
	}
	for range 40 {
		cases = append(cases, charge(20, "", soft), charge(20, "", hard))
	}
	line, err := evidence.TestWatch(cases, watch)
	require.NoError(t, err)
	require.Equal(t, 5, line.Failures)
	require.Contains(t, line.Answer.Refused[0].Why, "no result could have been significant")
	assert.False(t, line.Due())

	cases = append(cases, charge(12, loops.CauseClog, soft))
	for i := range 4 {
		cases = append(cases, charge(13+float64(i), loops.CauseClog, soft), charge(20, "", hard), charge(20, "", hard))
	}
	line, err = evidence.TestWatch(cases, watch)
	require.NoError(t, err)
	require.Empty(t, line.Answer.Refused)
	assert.True(t, line.Due())

	for i := range cases { // nobody without it to compare with
		cases[i].Traits = []evidence.Trait{soft}
	}
	line, err = evidence.TestWatch(cases, watch)
	require.NoError(t, err)
	require.NotEmpty(t, line.Answer.Refused)
	assert.False(t, line.Due())
}

// A maker that was typed in two ways is one.
func TestSpellingsAreOneTrait(t *testing.T) {
	t.Parallel()
	var cases []evidence.Case
	for i := range 6 {
		name := []string{"Lowtide", "LOWTIDE"}[i%2]
		cases = append(cases, charge(6+float64(i), loops.CauseClog, evidence.Trait{Key: "maker", Value: name}), charge(20, "", evidence.Trait{Key: "maker", Value: "Nowhere Works"}))
	}
	assert.Equal(t, []evidence.Trait{{Key: "maker", Value: "Lowtide"}, {Key: "maker", Value: "Nowhere Works"}}, evidence.TraitsOf(cases, "maker"))
	lives, err := evidence.HowLong(cases, "maker")
	require.NoError(t, err)
	require.Len(t, lives, 1)
	require.Len(t, lives[0].Report.Groups, 2)
	assert.Equal(t, 6, lives[0].Report.Groups[0].N)
	require.Len(t, lives[0].Compared, 1, "of two groups the one is the other's opposite")
	asked, err := evidence.Pattern(cases, loops.CauseClog, evidence.Trait{Key: "maker", Value: "lowtide"})
	require.NoError(t, err)
	require.Len(t, asked.Lines, 1)
	assert.Empty(t, asked.Lines[0].Alike)
}

// An aged charge that was measured good once, on joining, may have been good ever
// since: the far end counts it, as the near end counts what its owner noticed.
// Where nobody looked whether a loop is sealed, neither does.
func TestBothEndsCountTheSameCharges(t *testing.T) {
	t.Parallel()
	look := func(once int, leftOut string) evidence.WhenLook {
		var cases []evidence.Case
		for range 3 {
			c := charge(8, loops.CausePump)
			c.Origin = loops.Factory
			cases = append(cases, c)
		}
		for i := range 4 + once {
			c := charge(12, "")
			if c.Origin = loops.Factory; i >= 4 {
				c.Life.Entry, c.LeftOut, c.Fine = 12, leftOut, filled.AddDays(500)
			}
			cases = append(cases, c)
		}
		answers, err := evidence.WhenToLook(cases, loops.Policy{}, findings.DefaultCosts(), filled.AddDays(700))
		require.NoError(t, err)
		require.Len(t, answers, 1)
		return answers[0]
	}
	none, once := look(0, ""), look(5, "measured good once, on the day it joined the record already aged")
	assert.Equal(t, none.Basis, once.Basis)
	assert.Greater(t, once.Noticed, none.Noticed)
	assert.Greater(t, once.B10Upper, none.B10Upper)
	assert.NotEqual(t, none.Sentences[1], once.Sentences[1])

	unseen := look(5, "nobody looked whether its loop is sealed")
	assert.Equal(t, none.Noticed, unseen.Noticed)
	assert.Equal(t, none.Sentences, unseen.Sentences)
}

// What is missing for an answer is named, and what is there is not. Where the
// search for an age stops, that is no answer.
func TestLooksSayWhatTheyKnow(t *testing.T) {
	t.Parallel()
	look := func(cases ...evidence.Case) evidence.WhenLook {
		answers, err := evidence.WhenToLook(cases, loops.Policy{}, findings.DefaultCosts(), filled.AddDays(3000))
		require.NoError(t, err)
		return answers[0]
	}
	missing := func(cases ...evidence.Case) string { return look(cases...).Refused[0].Why }
	assert.Equal(t, "missing: healthy charges on record.", missing(charge(5, loops.CauseClog)))
	assert.Contains(t, missing(charge(5, "")), "missing: failed charges on record, or 29 charges measured good at 12 months")
	assert.Contains(t, missing(), "missing: healthy and failed charges on record, or 29 charges")

	var many []evidence.Case
	for range 60 {
		many = append(many, charge(90, ""))
	}
	assert.Contains(t, look(append(many, charge(80, loops.CauseClog))...).Sentences[3], "By cost a look each 24 months or later would be right.")
	var bad []evidence.Case
	for range 20 {
		bad = append(bad, charge(1, loops.CauseClog))
	}
	c := charge(1, "")
	c.Until = filled.AddDays(40)
	assert.Contains(t, look(append(bad, c)...).Sentences[3], "By cost a look each 3 months or sooner would be right.")
}
