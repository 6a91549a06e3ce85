// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// side is an act and what is on record when it is judged.
type side struct {
	act acts.Act
	on  acts.Snapshot
}

// asks lists the rules that speak about a side, notes that only say go left out.
func (x side) asks(t *testing.T) (ids []string) {
	t.Helper()
	reasons := acts.JudgeCharge(x.on)
	if x.act != nil {
		require.NoError(t, x.act.Check(x.on, today))
		_, settled, err := acts.Settle(acts.Of(x.act), x.act, x.on, today, "test")
		if stop, stopped := err.(*acts.StopError); stopped {
			settled = stop.Reasons
		} else {
			require.NoError(t, err)
		}
		reasons = settled
	}
	for _, r := range reasons {
		if r.Verdict.Worse(chemistry.Go) {
			ids = append(ids, r.Rule)
		}
	}
	return ids
}

// then is the record after acts were done to the loop as well.
func then(s acts.Snapshot, all ...acts.Act) acts.Snapshot {
	for _, a := range all {
		next := snapshot(append(slices.Clone(s.History), a.Apply(s, today).Entries...)...)
		next.Owner, next.Loop.Construction = s.Owner, s.Loop.Construction
		s = next
	}
	return s
}

func with(s acts.Snapshot, change func(*acts.Snapshot)) acts.Snapshot {
	change(&s)
	return s
}

// Every rule of the gate speaks on one side of its threshold and is silent on the
// other, as near to it as the input can be said. Whoever adds a rule adds its
// pair.
func TestEveryRuleHasBothSidesOfItsThreshold(t *testing.T) {
	t.Parallel()
	say := func(name string, words ...string) acts.Act { return line(t, name, words...) }
	full, ready := snapshot(filled(-3)), snapshot(filled(-3), checked(-2, 24, true), proved(-1))
	over := say("handover", "mail-consent")
	pg := say("fill", "fluid=pg", "mass=40%", "mass-uncertainty=1%", "inhibitor=azole", "biocide=none", "poured=460ml")
	eg := say("fill", "fluid=eg", "mass=40%", "mass-uncertainty=1%", "inhibitor=azole", "biocide=none", "poured=460ml")
	oat := say("fill", "fluid=pg", "mass=40%", "mass-uncertainty=1%", "inhibitor=oat", "biocide=none", "poured=460ml")
	drop := func(fluid chemistry.Fluid) acts.Snapshot {
		return snapshot(filled(-4), toppedUp(-3, string(fluid), fluid, 0.4, 0.001), checked(-2, 24, true), proved(-1))
	}
	found := func(cause loops.Cause) acts.Snapshot {
		e := entry(0, loops.KindOpening)
		e.Opening = &loops.Opening{Cause: cause}
		return snapshot(filled(-3), checked(-2, 24, true), proved(-1), e)
	}
	dose := func(volume string) acts.Act {
		return say("dose", "role=biocide", "family=isothiazolinone", "product=Clearwater", "label-dose=2ml/l", "poured="+volume)
	}
	proof := func(power string) acts.Act {
		return say("proof", "before-die=70C", "before-room=22C", "before-power="+power, "die=50C", "room=22C", "power=100W", "steady")
	}
	rinsed := say("flush")
	paired := map[string]bool{}
	mailed := func(agreed bool) acts.Snapshot {
		return with(ready, func(s *acts.Snapshot) { s.Owner.Consent.Mail = agreed })
	}
	for _, pair := range []struct {
		rule           string
		speaks, silent side
	}{
		{"contaminated", side{over, drop(chemistry.EthyleneGlycol)}, side{over, drop(chemistry.PropyleneGlycol)}},
		{"not-drained", side{pg, full}, side{pg, snapshot(filled(-3), drained(-2))}},
		{"not-rinsed", side{eg, snapshot(filled(-3), drained(-2))}, side{eg, then(snapshot(filled(-3), drained(-2)), rinsed)}},
		{"left-behind", side{oat, snapshot(filled(-3), drained(-2))}, side{oat, then(snapshot(filled(-3), drained(-2)), rinsed)}},
		{"not-counted", side{pg, snapshot(filled(-3), leaving(-2, 0.001))}, side{pg, snapshot(filled(-3), leaving(-2, 0))}},
		{"stays-changed", side{say("strike", "entry=4", "why=another loop"), then(ready, over)}, side{say("strike", "entry=3", "why=another loop"), then(ready, over)}},
		{"leaking", side{over, snapshot(filled(-4), checked(-3, 1, false), checked(-2, 23.9, true))}, side{over, snapshot(filled(-4), checked(-3, 1, false), checked(-2, 24, true))}},
		{"leak-check", side{over, snapshot(filled(-3), checked(-2, 23.9, true))}, side{over, snapshot(filled(-3), checked(-2, 24, true))}},
		{"too-short", side{say("leakcheck", "hours=23.9h", "dry"), full}, side{say("leakcheck", "hours=24h", "dry"), full}},
		{"no-charge", side{over, snapshot(filled(-3), checked(-2, 24, true), drained(0))}, side{over, ready}},
		{"failed", side{over, found(loops.CauseClog)}, side{over, found(loops.CauseNone)}},
		{"unproved", side{say("handover", "mail-consent"), snapshot(filled(-3), checked(-2, 24, true))}, side{say("handover", "mail-consent"), ready}},
		{"not-proved", side{proof("74W"), full}, side{proof("75W"), full}},
		{"not-comparable", side{say("readings", "verdict=good", "die=50C", "room=22C"), ready}, side{say("readings", "verdict=good", "die=50C", "room=22C", "power=100W", "steady"), ready}},
		{"released", side{say("strike", "entry=2", "why=never run"), then(ready, over)}, side{say("strike", "entry=2", "why=never run"), ready}},
		{"loop-beside", side{over, with(ready, func(s *acts.Snapshot) { s.Beside = []loops.Loop{snapshot(filled(-3), checked(-1, 1, false)).Loop} })},
			side{over, with(ready, func(s *acts.Snapshot) { s.Beside = []loops.Loop{snapshot(filled(-3), checked(-1, 1, true)).Loop} })}},
		{"not-in", side{over, then(ready, over)}, side{over, then(then(ready, over), say("intake", "complaint=loud"))}},
		{"hour-meter", side{say("intake", "complaint=loud", "hour-meter=99h"), snapshot(metered(-1, 100))}, side{say("intake", "complaint=loud", "hour-meter=100h"), snapshot(metered(-1, 100))}},
		{"no-scale", side{say("readings", "mass=40%"), drop(chemistry.EthyleneGlycol)}, side{say("readings", "mass=40%"), drop(chemistry.PropyleneGlycol)}},
		{"wall-unknown", side{over, with(ready, func(s *acts.Snapshot) { s.Loop.ColdestWall = nil })}, side{over, ready}},
		{"built-unknown", side{over, with(ready, func(s *acts.Snapshot) { s.Loop.Sealed, s.Loop.BuiltKnown.How = true, loops.NotKnown })}, side{over, with(ready, func(s *acts.Snapshot) { s.Loop.Sealed = true })}},
		{"charge-unknown", side{nil, with(snapshot(filled(-3)), func(s *acts.Snapshot) { s.Loop.State.Charge.Mass = new(chemistry.MassFraction(1.01)) })}, side{nil, full}},
		{"not-judged", side{say("poured", "poured=water=20ml"), with(full, func(s *acts.Snapshot) { s.Loop.Hottest = new(chemistry.Celsius(101)) })},
			side{say("poured", "poured=water=20ml"), with(full, func(s *acts.Snapshot) { s.Loop.Hottest = new(chemistry.Celsius(100)) })}},
		{"label-dose", side{dose("1.16ml"), full}, side{dose("1.15ml"), full}},
		{"consent", side{say("handover"), mailed(false)}, side{say("handover", "mail-consent"), mailed(false)}},
		{"consent", side{say("handover"), mailed(false)}, side{say("handover"), mailed(true)}},
		{"opening-consent", side{say("open", "cause=none found"), with(full, func(s *acts.Snapshot) { s.Owner.Consent.Opening = false })}, side{say("open", "cause=none found"), full}},
	} {
		assert.Contains(t, pair.speaks.asks(t), pair.rule)
		assert.NotContains(t, pair.silent.asks(t), pair.rule)
		paired[pair.rule] = true
	}
	for _, r := range acts.Rules() {
		assert.True(t, paired[r.ID], "%s has no pair", r.ID)
	}
}
