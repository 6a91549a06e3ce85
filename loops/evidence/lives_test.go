// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
)

// told is a history whose entries happened so many days after the fill.
type told []loops.Entry

func (h *told) add(days int, e loops.Entry) {
	e.ID, e.Day = loops.EntryID(len(*h)+1), filled.AddDays(days)
	*h = append(*h, e)
}

func (h *told) fill(days int, origin loops.Origin) {
	on := filled.AddDays(days)
	h.add(days, loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: loops.Charge{Fluid: chemistry.PropyleneGlycol, Volume: 0.5, Origin: origin, FilledFrom: on, FilledTo: on}}})
}

func (h *told) read(days int, x loops.Inspection) {
	h.add(days, loops.Entry{Kind: loops.KindInspection, Inspection: &x})
}

// good measures the running loop good by figures that compare.
func (h *told) good(days int) { h.read(days, heat(40, loops.Good)) }

func (h *told) proof(days int) {
	h.add(days, loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{Before: heat(92, loops.NotJudged), After: heat(52, loops.Good)}})
}

func (h *told) handover(days int) {
	h.add(days, loops.Entry{Kind: loops.KindHandover, Handover: &loops.Handover{}})
}

func (h *told) opening(days int, cause loops.Cause) {
	h.add(days, loops.Entry{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: cause}})
}

func (h *told) swap(days int) {
	h.add(days, loops.Entry{Kind: loops.KindSwap, Swap: &loops.Swap{OldUnit: loops.OldUnitDiscarded, Fluid: chemistry.PropyleneGlycol}})
}

func (h told) cases() []evidence.Case {
	return evidence.Kept{Loop: loops.Loop{Tag: "7K3QXW"}, Machine: loops.Machine{Owner: 1, Kind: loops.Workstation}, History: h}.Cases()
}

func heat(die chemistry.Celsius, verdict loops.Judgement) loops.Inspection {
	return loops.Inspection{Die: &die, Room: new(chemistry.Celsius(21)), PowerW: new(100.0), Steady: true, Verdict: verdict}
}

// served is a charge of the workshop's that was proved and handed over on its
// first days.
func served() told {
	var h told
	h.fill(0, loops.WorkshopFill)
	h.proof(1)
	h.handover(2)
	return h
}

// Whatever happens in whatever order: each charge has a life of its own, none
// goes on after its charge has gone, and the last is known good no later than the
// folded state says.
func TestEachChargeHasOneLife(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		var h told
		day := 0
		for range rapid.IntRange(1, 14).Draw(rt, "entries") {
			day += rapid.IntRange(0, 60).Draw(rt, "days")
			switch rapid.SampledFrom([]string{"fill", "swap", "good", "proof", "failed", "clog", "mount", "drain", "handover", "intake", "retire"}).Draw(rt, "what") {
			case "fill":
				h.fill(day, rapid.SampledFrom([]loops.Origin{loops.WorkshopFill, loops.Factory}).Draw(rt, "origin"))
			case "swap":
				h.swap(day)
			case "good":
				h.good(day)
			case "proof":
				h.proof(day)
			case "failed":
				h.read(day, heat(90, loops.Failed))
			case "clog":
				h.opening(day, loops.CauseClog)
			case "mount":
				h.opening(day, loops.CauseMount)
			case "drain":
				h.add(day, loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{}})
			case "handover":
				h.handover(day)
			case "intake":
				h.add(day, loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{}})
			case "retire":
				h.add(day, loops.Entry{Kind: loops.KindRetirement, Retirement: &loops.Retirement{Reason: loops.Scrapped}})
			}
		}
		var began []loops.Day
		openedFirst, mounts := false, false
		for e, is := range loops.States(h) {
			if e.BeginsCharge() {
				began = append(began, e.Day)
			}
			openedFirst = openedFirst || e.Kind == loops.KindOpening && len(began) == 0
			mounts = mounts || is.Cause == loops.CauseMount
		}
		cases := h.cases()
		if openedFirst {
			require.Equal(rt, loops.UnknownOrigin, cases[0].Origin)
			cases = cases[1:]
		}
		require.Len(rt, cases, len(began))
		for i, c := range cases {
			if i+1 < len(cases) {
				require.False(rt, c.Until.IsZero() || c.Until.After(began[i+1]), "%+v", c)
				require.False(rt, c.Ended.After(began[i+1]), "the life goes on after the charge has gone: %+v", c)
			} else if !c.Failed && !mounts { // a dry mount is a failure to the plan and none to the charge
				require.Equal(rt, loops.Fold(h).LastKnownGood, c.Ended)
			}
			require.True(rt, c.Until.IsZero() || !c.Until.Before(c.Fine) && !c.Until.Before(c.Ended))
		}
	})
}

// What comes into use later ends a charge: the day it went is the end, not the
// day on which it was last measured.
func TestUntilIsTheDayItWent(t *testing.T) {
	t.Parallel()
	tests := map[string]loops.Entry{
		"drained":  {Kind: loops.KindDrain, Drain: &loops.Drain{}},
		"retired":  {Kind: loops.KindRetirement, Retirement: &loops.Retirement{Reason: loops.Scrapped}},
		"came in":  {Kind: loops.KindIntake, Intake: &loops.Intake{}},
		"returned": {Kind: loops.KindReturn, Return: &loops.Return{Why: "theirs"}},
	}
	for name, e := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := served()
			h.good(100)
			h.add(300, e)
			assert.Equal(t, filled.AddDays(300), h.cases()[0].Until)
			h.fill(400, loops.WorkshopFill)
			assert.Equal(t, filled.AddDays(300), h.cases()[0].Until, "filled again later")
		})
	}
	h := served()
	h.good(100)
	assert.Zero(t, h.cases()[0].Until, "in use")
	h.swap(200)
	assert.Equal(t, filled.AddDays(200), h.cases()[0].Until)

	h = served()
	h.add(200, loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{}})
	h.good(210)
	h.handover(211)
	assert.Zero(t, h.cases()[0].Until, "in use again")
}

// Readings rule out a stopped pump and a leak where a temperature was taken of
// the running loop, nothing was missing and nothing was judged wrong.
func TestWhichReadingsRuleOutWhatOwnersNotice(t *testing.T) {
	t.Parallel()
	warm := chemistry.Celsius(40)
	tests := map[string]struct {
		x    loops.Inspection
		fine bool
	}{
		"a die":              {loops.Inspection{Die: &warm, Verdict: loops.NotJudged}, true},
		"coolant":            {loops.Inspection{CoolantOut: &warm, Missing: new(chemistry.Litre(0)), Verdict: loops.Good}, true},
		"a strength":         {loops.Inspection{Mass: new(chemistry.MassFraction(0.4)), Verdict: loops.NotJudged}, false},
		"a weight":           {loops.Inspection{Weight: new(chemistry.Kilogram(9)), Verdict: loops.Good}, false},
		"some is missing":    {loops.Inspection{Die: &warm, Missing: new(chemistry.Litre(0.06)), Verdict: loops.NotJudged}, false},
		"to be watched":      {loops.Inspection{Die: &warm, Verdict: loops.Watch}, false},
		"the room by itself": {loops.Inspection{Room: &warm, Verdict: loops.NotJudged}, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := served()
			h.read(90, tt.x)
			want := loops.Day{}
			if tt.fine {
				want = filled.AddDays(90)
			}
			assert.Equal(t, want, h.cases()[0].Fine)
		})
	}
}

// An opening that found the cause outside the loop clears what a reading had
// found, and not what another opening confirmed.
func TestOnlyWhatNoOpeningConfirmedIsCleared(t *testing.T) {
	t.Parallel()
	h := served()
	h.read(90, heat(90, loops.Failed))
	h.opening(91, loops.CauseMount)
	assert.False(t, h.cases()[0].Failed)

	h = served()
	h.opening(90, loops.CauseOther)
	h.opening(91, loops.CauseMount)
	assert.True(t, h.cases()[0].Failed)
	assert.Equal(t, loops.CauseOther, h.cases()[0].Cause)
}

// Good on the day of the fill is an age of nothing, and is said as it was.
func TestGoodOnTheDayOfTheFill(t *testing.T) {
	t.Parallel()
	var h told
	h.fill(0, loops.WorkshopFill)
	h.proof(0)
	assert.Equal(t, "measured good on the day of its fill and not since", h.cases()[0].LeftOut)
}

// Exactly 25 volume % keeps microbes down, as the rules have it.
func TestStrengthBandBeginsAtTwentyFive(t *testing.T) {
	t.Parallel()
	for _, fluid := range []chemistry.Fluid{chemistry.PropyleneGlycol, chemistry.EthyleneGlycol} {
		at, err := chemistry.MassFractionOf(fluid, 0.25)
		require.NoError(t, err)
		for mass, want := range map[chemistry.MassFraction]string{at: "25 volume % or more", at - 0.0002: "25 volume % or more", at - 0.002: "below 25 volume %"} {
			var h told
			h.fill(0, loops.WorkshopFill)
			h[0].Fill.Charge.Fluid, h[0].Fill.Charge.Mass = fluid, &mass
			assert.Contains(t, h.cases()[0].Traits, evidence.Trait{Key: "strength", Value: want}, "%s %v", fluid, mass)
		}
	}
}

// What comes with age is no trait: loops that failed early had no time for a
// top-up. Nor is what parts the strata already.
func TestWhatIsNoTrait(t *testing.T) {
	t.Parallel()
	h := served()
	h.add(90, loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{}})
	for _, trait := range h.cases()[0].Traits {
		assert.NotContains(t, []string{"top-up", "sealed"}, trait.Key)
	}
	for _, text := range []string{"top-up=yes", "sealed=no"} {
		_, err := evidence.ParseTrait(text)
		require.ErrorContains(t, err, "KEY=VALUE")
	}
}

// Where no age can be told of those that failed, those that last count no more:
// neither in what is known, nor at either end of what is not.
func TestNoEarliestDayCountsNothing(t *testing.T) {
	t.Parallel()
	var known, all []evidence.Case
	for i := range 12 {
		var h told
		h.fill(0, loops.Factory)
		if h.good(100); i%3 == 0 {
			h.opening(200, loops.CausePump)
		}
		known = append(known, evidence.Kept{Loop: loops.Loop{Tag: "7K3QXA"}, Machine: loops.Machine{Kind: loops.DonorUnit}, History: h}.Cases()...)
	}
	all = append(all, known...)
	for range 9 {
		var h told
		h.fill(0, loops.Factory)
		h[0].Fill.Charge.FilledFrom = loops.Day{}
		h.handover(1)
		h.good(400)
		h.add(500, loops.Entry{Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.AllFine}})
		all = append(all, h.cases()...)
	}
	look := func(cases []evidence.Case) evidence.WhenLook {
		answers, err := evidence.WhenToLook(cases, loops.Policy{}, findings.DefaultCosts(), filled.AddDays(700))
		require.NoError(t, err)
		return answers[0]
	}
	assert.Equal(t, look(known), look(all))
}

// The age at an opening is told as far as it is known, and no farther.
func TestAgeAtAnOpening(t *testing.T) {
	t.Parallel()
	age := func(origin loops.Origin, early int, known bool) string {
		var h told
		h.fill(0, origin)
		charge := &h[0].Fill.Charge
		if charge.FilledFrom = filled.AddDays(-early); !known {
			charge.FilledFrom = loops.Day{}
		}
		h.opening(300, loops.CauseClog)
		found := evidence.Kept{History: h}.Openings()
		require.Len(t, found, 1)
		return found[0].Age()
	}
	assert.Equal(t, "9.9 months since the workshop fill", age(loops.WorkshopFill, 0, true))
	assert.Equal(t, "9.9 to 15.8 months since the factory fill", age(loops.Factory, 180, true))
	assert.Equal(t, "9.9 or more months since the factory fill", age(loops.Factory, 0, false))
	var h told
	h.opening(300, loops.CauseClog)
	assert.Equal(t, "age not known", evidence.Kept{History: h}.Openings()[0].Age())
}

// A watch of a key that is compared no more stands, and stops no other.
func TestWatchOfAKeyThatIsGone(t *testing.T) {
	t.Parallel()
	watch := loops.PatternWatch{Cause: loops.CauseClog, Trait: "top-up=yes", Registered: filled, ReadAt: 1}
	line, err := evidence.TestWatch(plainPattern(evidence.Trait{Key: "tubing", Value: "A"}, evidence.Trait{Key: "tubing", Value: "B"}), watch)
	require.NoError(t, err)
	assert.Equal(t, []findings.Refusal{{What: "top-up=yes", Why: "charges are no longer compared by this."}}, line.Answer.Refused)
	assert.False(t, line.Due())

	watch.Reading = &loops.WatchReading{Day: filled.AddDays(9), Sentence: "More than chance explains."}
	line, err = evidence.TestWatch(nil, watch)
	require.NoError(t, err)
	assert.Equal(t, watch.Reading.Sentence, line.Answer.Sentence)
}
