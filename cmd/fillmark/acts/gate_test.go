// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// Entries of histories, so many days from today.

func filled(days int) loops.Entry {
	on := today.AddDays(days)
	return loops.Entry{Kind: loops.KindFill, Day: on, Fill: &loops.Fill{Charge: loops.Charge{
		Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), MassUncertainty: 0.01, Volume: 0.46, Origin: loops.WorkshopFill, FilledFrom: on, FilledTo: on,
		Additives: []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}},
	}}}
}

func checked(days int, hours float64, dry bool) loops.Entry {
	return loops.Entry{Kind: loops.KindLeakCheck, Day: today.AddDays(days), LeakCheck: &loops.LeakCheck{Hours: hours, Dry: dry}}
}

func read(die chemistry.Celsius) loops.Inspection {
	return loops.Inspection{Die: &die, Room: new(chemistry.Celsius(22)), PowerW: new(100.0), Steady: true, Verdict: loops.Good}
}

func proved(days int) loops.Entry {
	return loops.Entry{Kind: loops.KindProof, Day: today.AddDays(days), Proof: &loops.Proof{Before: read(92), After: read(52)}}
}

func entry(days int, kind loops.EntryKind) loops.Entry {
	return loops.Entry{Kind: kind, Day: today.AddDays(days)}
}

// line makes an act of its command line.
func line(t require.TestingT, name string, words ...string) acts.Act {
	d, ok := acts.Find(name)
	require.True(t, ok, name)
	said := acts.Said{}
	for _, word := range words {
		field, value, ok := strings.Cut(word, "=")
		if !ok {
			value = "yes"
		}
		said[field] = append(said[field], value)
	}
	act, err := d.Read(said)
	require.NoError(t, err)
	return act
}

// settled is the verdict of the gate, with the rules that speak.
func settled(t require.TestingT, act acts.Act, s acts.Snapshot) string {
	if err := act.Check(s, today); err != nil {
		return "impossible: " + err.Error()
	}
	d := acts.Of(act)
	_, reasons, err := acts.Settle(d, act, s, today, "test")
	text := string(chemistry.Judge(reasons))
	for _, r := range reasons {
		if r.Verdict.Worse(chemistry.Go) {
			text += " " + r.Rule
		}
	}
	if _, stopped := err.(*acts.StopError); stopped {
		text += "; refused"
	} else if err != nil {
		text = err.Error()
	}
	return text
}

// Each rule with the nearest input on both sides of its threshold.
func TestRulesAtTheirThresholds(t *testing.T) {
	t.Parallel()
	glycol := func(share string) acts.Act {
		return line(t, "fill", "fluid=pg", "mass="+share, "mass-uncertainty=1%", "inhibitor=azole", "biocide=none", "poured=460ml")
	}
	open := func(s acts.Snapshot, change func(*acts.Snapshot)) acts.Snapshot { change(&s); return s }
	ready := []loops.Entry{filled(-3), checked(-2, 24, true), proved(-1)}
	over := line(t, "handover", "mail-consent")
	weak := filled(-3)
	weak.Fill.Charge.Mass = new(chemistry.MassFraction(0.31))
	premix := filled(-3)
	premix.Fill.Charge.FormulatedProduct, premix.Fill.Poured = true, []loops.Pour{{Container: 7, Volume: 0.46}}
	bottled := snapshot(premix)
	for _, id := range []loops.ContainerID{7, 8} {
		bottled.Containers = append(bottled.Containers, loops.Container{ID: id, Kind: loops.PremixBottle, Product: "green", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Left: 1})
	}
	for _, tt := range []struct {
		name string
		act  acts.Act
		s    acts.Snapshot
		want string
	}{
		{"all is well", over, snapshot(ready...), "go"},
		{"23.9 h", over, snapshot(filled(-3), checked(-2, 23.9, true), proved(-1)), "stop leak-check; refused"},
		{"24 h, then wet", over, snapshot(filled(-3), checked(-2, 24, true), proved(-1), checked(-1, 1, false)), "stop leaking; refused"},
		{"wet, then 23.9 h", over, snapshot(filled(-4), checked(-3, 1, false), checked(-2, 23.9, true), proved(-1)), "stop leaking; refused"},
		{"wet, then 24 h", over, snapshot(filled(-4), checked(-3, 1, false), checked(-2, 24, true), proved(-1)), "go"},
		{"wet, then topped up", over, snapshot(filled(-4), checked(-3, 1, false), toppedUp(-2, "water", chemistry.TreatedWater, 0, 0.01), proved(-1)), "stop leaking; refused"},
		{"no proof", over, snapshot(filled(-3), checked(-2, 24, true)), "stop unproved; refused"},
		{"no proof, and why", line(t, "handover", "mail-consent", "unproved=no load"), snapshot(filled(-3), checked(-2, 24, true)), "go"},
		{"nobody asked", line(t, "handover"), snapshot(ready...), "care consent"},
		{"too weak for the wall", over, snapshot(weak, checked(-2, 24, true), proved(-1)), "go"},
		{"colder than it bears", over, open(snapshot(weak, checked(-2, 24, true), proved(-1)), func(s *acts.Snapshot) { s.Loop.ColdestWall = new(chemistry.Celsius(-18)) }), "stop frost; refused"},
		{"a wall nobody knows", over, open(snapshot(ready...), func(s *acts.Snapshot) { s.Loop.ColdestWall = nil }), "stop wall-unknown; refused"},
		{"nothing can freeze", over, open(snapshot(ready...), func(s *acts.Snapshot) { s.Loop.ColdestWall, s.Loop.NoFrost = nil, true }), "go"},
		{"drained", over, snapshot(append(ready, drained(0))...), "stop no-charge leak-check; refused"},

		{"24 h on the fill's own day", line(t, "leakcheck", "hours=24h", "dry"), snapshot(filled(0)), "impossible: hours"},
		{"less than that", line(t, "leakcheck", "hours=23h", "dry"), snapshot(filled(0)), "care too-short"},
		{"24 h on the day after", line(t, "leakcheck", "hours=24h", "dry"), snapshot(filled(-1)), "go"},
		{"of an empty loop", line(t, "leakcheck", "hours=24h", "dry"), snapshot(filled(-2), drained(-1)), "impossible: tag"},
		{"24 h on the day it was wet", line(t, "leakcheck", "hours=24h", "dry"), snapshot(filled(-4), checked(0, 1, false)), "impossible: hours"},
		{"24 h on the day after it was wet", line(t, "leakcheck", "hours=24h", "dry"), snapshot(filled(-4), checked(-1, 1, false)), "go"},
		{"48 h on the day after it was opened", line(t, "leakcheck", "hours=48h", "dry"), snapshot(filled(-4), opened(-1)), "impossible: hours"},
		{"24 h on the day after it was opened", line(t, "leakcheck", "hours=24h", "dry"), snapshot(filled(-4), opened(-1)), "go"},
		{"struck out, it was not opened", line(t, "leakcheck", "hours=48h", "dry"), snapshot(filled(-4), opened(-1), struck(2)), "go"},

		{"another loop of it is drained", over, open(snapshot(ready...), func(s *acts.Snapshot) { s.Beside = []loops.Loop{snapshot(filled(-3), drained(0)).Loop} }), "stop loop-beside; refused"},
		{"another loop of it leaks, and went back as it is", over, open(snapshot(ready...), func(s *acts.Snapshot) {
			s.Beside = []loops.Loop{snapshot(filled(-3), checked(-2, 1, false), givenBack(-1)).Loop}
		}), "care loop-beside"},
		{"another loop of it was drained since", line(t, "handover", "mail-consent", "day="+today.AddDays(-1).String()), open(snapshot(filled(-4), checked(-2, 24, true), proved(-1)), func(s *acts.Snapshot) {
			s.Beside = []loops.Loop{snapshot(filled(-3), drained(0)).Loop}
		}), "go"},
		{"another loop of it left service", over, open(snapshot(ready...), func(s *acts.Snapshot) { s.Beside = []loops.Loop{snapshot(filled(-3), drained(-1), retired(0)).Loop} }), "go"},
		{"handed over already", over, snapshot(append(ready, handedOver(0))...), "care not-in"},
		{"given back already", over, snapshot(append(ready, givenBack(-1))...), "care not-in"},
		{"given back after the hand-over", line(t, "return", "why=theirs"), snapshot(append(ready, handedOver(0))...), "care not-in"},
		{"in again since the hand-over", over, snapshot(append(ready, handedOver(-1), takenIn(0))...), "go"},
		{"out of service, given back", line(t, "return", "why=theirs"), snapshot(filled(-3), retired(-1)), "care leak-check"},
		{"in use, handed over after it left service", over, snapshot(filled(-3), retired(-1)), "impossible: tag"},

		{"opened by us, and not ours", over, snapshot(found(-9), proved(-3), opened(-2)), "stop leak-check; refused"},
		{"opened by us and checked", over, snapshot(found(-9), opened(-3), checked(-1, 24, true)), "go"},
		{"filled and checked by us, then filled by others", over, snapshot(filled(-9), checked(-8, 24, true), proved(-7), found(-3)), "go"},
		{"opened by us, then filled by others", over, snapshot(found(-9), opened(-8), found(-3)), "go"},
		{"wet, dry, and longer than since it was wet", line(t, "leakcheck", "hours=150h", "dry"), snapshot(filled(-9), checked(-5, 1, false), checked(-3, 24, true)), "go"},
		{"wet, and longer than since", line(t, "leakcheck", "hours=150h", "dry"), snapshot(filled(-9), checked(-5, 1, false)), "impossible: hours"},
		{"not ours and not opened", over, snapshot(found(-9)), "go"},
		{"a cooler that we fitted", over, snapshot(filled(-9), swapped(-2, chemistry.PropyleneGlycol), measured(-1, 0.4)), "stop leak-check; refused"},
		{"a cooler that we fitted and checked", over, snapshot(filled(-9), swapped(-2, chemistry.PropyleneGlycol), measured(-1, 0.4), checked(-1, 24, true)), "go"},
		{"nobody knows what is in it", over, snapshot(found(-9), swapped(-4, ""), checked(-1, 24, true)), "stop unknown-strength; refused"},
		{"nobody knows what is in it, and nothing can freeze", over, open(snapshot(found(-9), swapped(-4, ""), checked(-1, 24, true)), noFrost), "care unknown-strength"},
		{"nobody knows what is in it, and an evaporator can freeze", over, open(snapshot(found(-9), swapped(-4, ""), checked(-1, 24, true)), func(s *acts.Snapshot) {
			noFrost(s)
			s.Loop.SetPoint, s.Loop.EvaporatorMargin = new(chemistry.Celsius(5)), new(chemistry.CelsiusDelta(8))
		}), "stop unknown-strength; refused"},
		{"a new cooler with water, and nothing can freeze", over, open(snapshot(found(-9), swapped(-4, chemistry.TreatedWater), checked(-1, 24, true)), noFrost), "go"},
		{"a new cooler with water, and a wall of -10 °C", over, snapshot(found(-9), swapped(-4, chemistry.TreatedWater), checked(-1, 24, true)), "stop frost; refused"},
		{"a dry mount, found and repaired", over, snapshot(filled(-9), proved(-8), because(-3, loops.CauseMount), checked(-2, 24, true), proved(-1)), "go"},

		{"drained before the hand-over, told after it", line(t, "drain", "day="+today.AddDays(-1).String()), snapshot(append(ready, handedOver(0))...), "care released"},
		{"drained since the hand-over", line(t, "drain"), snapshot(append(ready, handedOver(0))...), "go"},
		{"its leak check was never run", line(t, "strike", "entry=2", "why=never run"), snapshot(append(ready, handedOver(0))...), "care released"},
		{"its proof was of another loop", line(t, "strike", "entry=3", "why=another loop"), snapshot(append(ready, handedOver(0))...), "care released"},
		{"the hand-over itself", line(t, "strike", "entry=4", "why=another loop"), snapshot(append(ready, handedOver(0))...), "care stays-changed"},
		{"a hand-over at which nothing was agreed to", line(t, "strike", "entry=4", "why=another loop"), snapshot(append(ready, unasked(0))...), "go"},
		{"a hand-over to nobody on record", line(t, "strike", "entry=4", "why=another loop"), open(snapshot(append(ready, handedOver(0))...), func(s *acts.Snapshot) {
			s.Owner = loops.Owner{}
		}), "go"},
		{"struck out before", line(t, "strike", "entry=2", "why=never run"), snapshot(append(ready, struck(2))...), "impossible: entry"},
		{"the striking itself", line(t, "strike", "entry=4", "why=it was run"), snapshot(append(ready, struck(2))...), "go"},
		{"a transfer", line(t, "strike", "entry=4", "why=not sold"), snapshot(append(ready, moved(0))...), "impossible: entry"},
		{"a swap", line(t, "strike", "entry=4", "why=another loop"), snapshot(append(ready, swapped(0, ""))...), "care stays-changed"},
		{"a dose by what went in", line(t, "dose", "role=biocide", "family=isothiazolinone", "label-dose=10ml/l", "poured=4.6ml"), snapshot(append(ready, lacking(0, 0.2))...), "care label-dose"},
		{"a dose by what is in it", line(t, "dose", "role=biocide", "family=isothiazolinone", "label-dose=10ml/l", "poured=2.6ml"), snapshot(append(ready, lacking(0, 0.2))...), "go"},
		{"a new cooler with poison in reach", line(t, "swap", "old-unit=kept", "sealed", "fluid=eg"), snapshot(ready...), "care unknown-strength volume-unknown metals-unknown eg-within-reach"},
		{"a new cooler of which nobody knows what is in it", line(t, "swap", "old-unit=kept", "sealed", "holds=200ml"), snapshot(ready...), "care unknown-charge metals-unknown"},
		{"a new cooler with water where it freezes", line(t, "swap", "old-unit=kept", "fluid=water", "holds=200ml"), snapshot(ready...), "stop frost inhibitor-unknown metals-unknown; refused"},
		{"wet before the hand-over, told after it", line(t, "leakcheck", "hours=1h", "wet", "day="+today.AddDays(-1).String()), snapshot(append(ready, handedOver(0))...), "care leaking released"},

		{"more taken out than is in it", line(t, "poured", "drained=501ml", "went=drum", "poured=water=10ml", "already-done"), snapshot(filled(-3)), "impossible: drained"},
		{"all of it taken out", line(t, "poured", "drained=460ml", "went=drum", "poured=pg:40%:azole=460ml", "already-done"), snapshot(filled(-3)), "go"},
		{"more missing than it holds", line(t, "readings", "gap=500ml"), snapshot(filled(-3)), "impossible: gap"},
		{"less missing than it holds", line(t, "readings", "gap=499ml"), snapshot(filled(-3)), "go"},
		{"more missing than it holds, topped up", line(t, "poured", "poured=pg:40%:azole=10ml", "gap=500ml"), snapshot(filled(-3)), "impossible: gap"},
		{"heat and a die no warmer than the room", line(t, "readings", "die=22C", "room=22C", "power=90W", "verdict=good"), snapshot(ready...), "impossible: die"},
		{"colder after the plate than before it", line(t, "readings", "coolant-in=30C", "coolant-out=28.9C", "power=90W"), snapshot(ready...), "impossible: coolant-out"},
		{"two thermometers that differ", line(t, "readings", "coolant-in=30C", "coolant-out=29C", "power=90W"), snapshot(ready...), "go"},
		{"a call about a donor unit", line(t, "call", "outcome=reached"), open(snapshot(ready...), func(s *acts.Snapshot) { s.Machine.Kind = loops.DonorUnit }), "impossible: tag"},
		{"a die just warmer", line(t, "readings", "die=22.1C", "room=22C", "power=90W", "verdict=good"), snapshot(ready...), "go"},
		{"an hour meter that ran back", line(t, "readings", "hour-meter=99h"), snapshot(filled(-3), metered(-1, 100)), "care hour-meter"},
		{"an hour meter that stood", line(t, "readings", "hour-meter=100h"), snapshot(filled(-3), metered(-1, 100)), "go"},
		{"flushed while it is full", line(t, "flush"), snapshot(filled(-3)), "care not-drained"},
		{"flushed when drained", line(t, "flush"), snapshot(filled(-3), drained(-2)), "go"},

		{"glycol that bears it", glycol("30%"), snapshot(), "go"},
		{"glycol that does not", glycol("12%"), snapshot(), "stop glycol-feeds frost; refused"},
		{"not drained, the same fluid", glycol("30%"), snapshot(filled(-3)), "care not-drained"},
		{"not drained, another", line(t, "fill", "fluid=eg", "mass=40%", "inhibitor=azole", "poured=460ml"), snapshot(filled(-3)), "stop not-drained eg-within-reach; refused"},
		{"drained and not rinsed", line(t, "fill", "fluid=eg", "mass=40%", "mass-uncertainty=1%", "inhibitor=azole", "biocide=none", "poured=460ml"), snapshot(filled(-3), drained(-2)), "stop not-rinsed eg-within-reach; refused"},

		{"the wrong glycol", line(t, "poured", "poured=eg:95%=10ml"), snapshot(filled(-3)), "stop eg-with-pg; refused"},
		{"its inhibitor not said", line(t, "poured", "poured=pg:40%=10ml"), snapshot(filled(-3)), "care inhibitor-unstated"},
		{"its inhibitor said", line(t, "poured", "poured=pg:40%:azole=10ml"), snapshot(filled(-3)), "go"},
		{"from the bottle of the fill", line(t, "poured", "poured=7=10ml"), bottled, "go"},
		{"from another bottle", line(t, "poured", "poured=8=10ml"), bottled, "care inhibitor-unstated"},
		{"an inhibitor that nobody named", line(t, "fill", "fluid=pg", "mass=30%", "mass-uncertainty=1%", "biocide=none", "poured=460ml"), snapshot(), "care inhibitor-unknown"},
		{"readings of nothing", line(t, "readings"), snapshot(filled(-3)), "impossible: readings"},
		{"a level is one", line(t, "readings", "gap=0ml"), snapshot(filled(-3)), "go"},
		{"45 W and 120 W", line(t, "proof", "before-die=70C", "before-room=22C", "before-power=45W", "die=60C", "room=22C", "power=120W", "steady"), snapshot(filled(-3)), "stop not-proved; refused"},
		{"75 W and 100 W", line(t, "proof", "before-die=70C", "before-room=22C", "before-power=75W", "die=50C", "room=22C", "power=100W", "steady"), snapshot(filled(-3)), "go"},
		{"74 W and 100 W", line(t, "proof", "before-die=70C", "before-room=22C", "before-power=74W", "die=50C", "room=22C", "power=100W", "steady"), snapshot(filled(-3)), "stop not-proved; refused"},
		{"as it is, whatever it is", line(t, "return", "why=theirs"), snapshot(filled(-3), checked(-2, 1, false)), "care leaking"},
	} {
		got := settled(t, tt.act, tt.s)
		if strings.HasPrefix(tt.want, "impossible") {
			assert.True(t, strings.HasPrefix(got, tt.want), "%s: %s", tt.name, got)
			continue
		}
		assert.Equal(t, tt.want, got, tt.name)
	}
}

// Every act judges, or is one of those against which nothing can speak: what
// [acts.Doing] answers in an act's place is go to everything.
func TestEveryActJudges(t *testing.T) {
	t.Parallel()
	nothingSpeaks := []string{"call", "drain", "note", "plan", "retire", "step", "transfer", "weigh", "work"}
	wet := snapshot(filled(-4), checked(-3, 1, false), metered(-2, 100), handedOver(-1))
	wet.Loop.Wetted, wet.Owner.Consent.Opening = nil, false
	spoken := map[string][]string{
		"intake": {"complaint=loud", "hour-meter=99h"}, "readings": {"hour-meter=99h"}, "open": {"cause=pump"}, "clean": {"agent=acid"},
		"flush": nil, "fill": {"fluid=eg", "mass=40%", "poured=460ml"}, "dose": {"role=biocide", "family=bronopol"}, "poured": {"poured=eg:95%=10ml"},
		"leakcheck": {"hours=1h", "dry"}, "proof": {"die=60C", "room=22C", "power=90W"}, "handover": nil, "return": {"why=theirs"},
		"strike": {"entry=4", "why=another loop"}, "swap": {"old-unit=kept"},
	}
	for _, d := range acts.All() {
		words, judges := spoken[d.Name]
		assert.NotEqual(t, judges, slices.Contains(nothingSpeaks, d.Name), d.Name)
		if judges {
			assert.NotEmpty(t, line(t, d.Name, words...).Judge(wet, today), d.Name)
		}
	}
}

// found is what a machine came in with.
func found(days int) loops.Entry {
	e := filled(days)
	e.Fill.Charge.Origin = loops.Factory
	return e
}

func because(days int, cause loops.Cause) loops.Entry {
	e := opened(days)
	e.Opening.Cause = cause
	return e
}

func swapped(days int, fluid chemistry.Fluid) loops.Entry {
	e := entry(days, loops.KindSwap)
	e.Swap = &loops.Swap{OldUnit: loops.OldUnitKept, Fluid: fluid}
	return e
}

func measured(days int, mass chemistry.MassFraction) loops.Entry {
	e := entry(days, loops.KindInspection)
	e.Inspection = &loops.Inspection{Mass: &mass, Verdict: loops.NotJudged}
	return e
}

func moved(days int) loops.Entry {
	e := entry(days, loops.KindTransfer)
	e.Transfer = &loops.Transfer{From: 1, To: 2}
	return e
}

// noFrost is said of a loop in which nothing can freeze.
func noFrost(s *acts.Snapshot) { s.Loop.ColdestWall, s.Loop.NoFrost = nil, true }

func opened(days int) loops.Entry {
	e := entry(days, loops.KindOpening)
	e.Opening = &loops.Opening{Cause: loops.CauseNone}
	return e
}

func struck(id loops.EntryID) loops.Entry {
	e := entry(0, loops.KindCorrection)
	e.Correction = &loops.Correction{Strikes: id, Why: "another loop"}
	return e
}

func handedOver(days int) loops.Entry {
	e := entry(days, loops.KindHandover)
	e.Handover = &loops.Handover{Consent: loops.Consent{Mail: true}}
	return e
}

func unasked(days int) loops.Entry {
	e := entry(days, loops.KindHandover)
	e.Handover = &loops.Handover{Asked: &loops.Consent{}}
	return e
}

func lacking(days int, missing chemistry.Litre) loops.Entry {
	e := entry(days, loops.KindInspection)
	e.Inspection = &loops.Inspection{Missing: &missing}
	return e
}

func givenBack(days int) loops.Entry {
	e := entry(days, loops.KindReturn)
	e.Return = &loops.Return{Why: "theirs"}
	return e
}

func takenIn(days int) loops.Entry {
	e := entry(days, loops.KindIntake)
	e.Intake = &loops.Intake{Complaint: "loud"}
	return e
}

func retired(days int) loops.Entry {
	e := entry(days, loops.KindRetirement)
	e.Retirement = &loops.Retirement{Reason: loops.RetirementReasons()[0]}
	return e
}

func metered(days int, hours float64) loops.Entry {
	e := entry(days, loops.KindInspection)
	e.Inspection = &loops.Inspection{RunningHours: &hours, Verdict: loops.NotJudged}
	return e
}

func drained(days int) loops.Entry {
	e := entry(days, loops.KindDrain)
	e.Drain = &loops.Drain{}
	return e
}

func toppedUp(days int, name string, fluid chemistry.Fluid, mass chemistry.MassFraction, volume chemistry.Litre) loops.Entry {
	e := entry(days, loops.KindTopUp)
	e.TopUp = &loops.TopUp{Poured: []loops.Pour{{Liquid: name, Fluid: fluid, Mass: mass, Volume: volume}}}
	return e
}

// A charge that just bears its wall does not once its strength is less sure: only
// the warm end counts, at a top-up too.
func TestTopUpCountsTheBadEnd(t *testing.T) {
	t.Parallel()
	water := line(t, "poured", "poured=water=20ml")
	verdicts := map[chemistry.MassFraction]string{}
	for _, sure := range []chemistry.MassFraction{0.005, 0.06} {
		fill := filled(-3)
		fill.Fill.Charge.Mass, fill.Fill.Charge.MassUncertainty = new(chemistry.MassFraction(0.29)), sure
		s := snapshot(fill)
		verdicts[sure] = settled(t, water, s)
	}
	assert.NotContains(t, verdicts[0.005], "stop")
	assert.Contains(t, verdicts[0.06], "stop")
}

// What a correction struck out on a later day is out of the state of the day
// before.
func TestSnapshotOnCountsCorrections(t *testing.T) {
	t.Parallel()
	strike := entry(0, loops.KindCorrection)
	strike.Correction = &loops.Correction{Strikes: 2, Why: "another loop"}
	s := snapshot(filled(-5), checked(-3, 1, false), strike)
	assert.True(t, s.On(today.AddDays(-2)).Leaking.IsZero())
	assert.False(t, snapshot(filled(-5), checked(-3, 1, false)).On(today.AddDays(-2)).Leaking.IsZero())
	assert.True(t, s.On(today.AddDays(-4)).Leaking.IsZero())
}

// Rules that keep people from harm cannot be set aside, and one that speaks
// cannot be set aside by the name of another.
func TestOverrule(t *testing.T) {
	t.Parallel()
	wet := snapshot(filled(-4), checked(-3, 1, false), proved(-1))
	assert.Contains(t, settled(t, line(t, "handover", "overrule=leaking=it is dry now"), wet), "nobody can set it aside")
	short := snapshot(filled(-4), checked(-3, 2, true), proved(-1))
	act := line(t, "handover", "mail-consent", "overrule=leak-check=the owner waits")
	d, _ := acts.Find("handover")
	judged, _, err := acts.Settle(d, act, short, today, "rui")
	require.NoError(t, err)
	assert.Equal(t, chemistry.Care, judged.Verdict)
	assert.Equal(t, []loops.Overrule{{Rule: "leak-check", Why: "the owner waits", By: "rui"}}, judged.Overruled)
	assert.Contains(t, settled(t, line(t, "handover", "overrule=frost=warm"), short), "a rule that speaks against this")
	for _, already := range []string{"leaking", "leak-check"} {
		s := map[string]acts.Snapshot{"leaking": wet, "leak-check": short}[already]
		assert.Contains(t, settled(t, line(t, "handover", "mail-consent", "already-done"), s), "refused", fmt.Sprint(already))
	}
}

// A reason for no proof beside a proof would be printed as a machine that is not
// proven.
func TestNoReasonForNoProofWhereOneStands(t *testing.T) {
	t.Parallel()
	unproved := line(t, "handover", "mail-consent", "unproved=no load here")
	full := []loops.Entry{filled(-3), checked(-2, 24, true)}
	require.NoError(t, unproved.Check(snapshot(full...), today))
	err := unproved.Check(snapshot(append(full, proved(-1))...), today)
	var invalid *loops.InvalidError
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "unproved", invalid.Field)
	assert.Contains(t, invalid.Reason, "the proof of "+today.AddDays(-1).Long()+" stands")
	earlier := line(t, "handover", "mail-consent", "unproved=no load here", "day="+today.AddDays(-2).String())
	assert.NoError(t, earlier.Check(snapshot(append(full, proved(-1))...), today), "the day before there was none")
}

// What owners read in their own language of the gate's own rules is kept under
// these words.
func TestRulesThatOwnersReadKeepTheirWords(t *testing.T) {
	t.Parallel()
	said := func(a acts.Act, s acts.Snapshot, rule string) string {
		for _, r := range a.Judge(s, today) {
			if r.Rule == rule {
				return r.Text
			}
		}
		return ""
	}
	full := snapshot(filled(-3))
	assert.Equal(t, "no leak check of 24 hours has stayed dry since the loop was filled.", said(line(t, "handover", "mail-consent"), full, "leak-check"))
	full.Owner.Consent.Opening = false
	assert.Equal(t, "the owner has not agreed to the loop being opened.", said(line(t, "open", "cause=none found"), full, "opening-consent"))
}
