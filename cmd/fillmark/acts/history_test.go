// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// bench does acts to a loop as the register does: checked, settled, applied.
type bench struct {
	snapshot acts.Snapshot
	day      loops.Day
}

// try does an act and tells whether it is on record now.
func (b *bench) try(t *rapid.T, act acts.Act) bool {
	s := b.snapshot
	if act.Check(s, b.day) != nil {
		return false
	}
	d := acts.Of(act)
	judged, _, err := acts.Settle(d, act, s, b.day, "test")
	var stop *acts.StopError
	if errors.As(err, &stop) {
		return false
	}
	if err != nil {
		t.Fatalf("%s: %v", d.Name, err)
	}
	change := act.Apply(s, b.day)
	for _, e := range change.Entries {
		e.ID, e.Judged = b.snapshot.Loop.LastEntry+1, judged
		b.snapshot.History = append(slices.Clone(b.snapshot.History), e)
		b.snapshot.Loop.LastEntry, b.snapshot.Loop.State = e.ID, loops.Fold(b.snapshot.History)
	}
	for _, l := range change.Loops {
		b.snapshot.Loop.Construction = l.Construction
	}
	return true
}

// anyAct draws an act with its words.
func anyAct(rt *rapid.T) (acts.Act, string) {
	one := func(name string, from ...string) string { return rapid.SampledFrom(from).Draw(rt, name) }
	number := func(name string, low, high int, unit string) string {
		return fmt.Sprintf("%s=%d%s", name, rapid.IntRange(low, high).Draw(rt, name), unit)
	}
	var words []string
	name := one("act", "fill", "poured", "drain", "flush", "readings", "proof", "leakcheck", "handover", "return", "retire", "intake", "dose", "swap", "open")
	switch name {
	case "fill":
		words = []string{one("fluid", "fluid=pg", "fluid=eg", "fluid=water"), number("poured", 100, 460, "ml"), "inhibitor=azole"}
		if words[0] != "fluid=water" {
			words = append(words, number("mass", 5, 55, "%"), number("mass-uncertainty", 1, 6, "%"))
		}
	case "poured":
		words = []string{one("liquid", "poured=water=", "poured=pg:95%=", "poured=eg:95%=", "poured=deionised=") + fmt.Sprint(rapid.IntRange(1, 60).Draw(rt, "ml")) + "ml"}
	case "drain":
		words = []string{"out=100ml", "went=drum"}
	case "readings":
		words = []string{number("die", 25, 90, "C"), "room=22C", number("power", 40, 120, "W"), one("verdict", "verdict=good", "verdict=watch", "verdict=failed")}
		if rapid.Bool().Draw(rt, "strength") {
			words = append(words, number("mass", 5, 55, "%"))
		}
	case "proof":
		words = []string{number("before-die", 25, 90, "C"), "before-room=22C", number("before-power", 40, 120, "W"),
			number("die", 25, 90, "C"), "room=22C", number("power", 40, 120, "W"), one("steady", "steady=yes", "steady=no")}
	case "leakcheck":
		words = []string{number("hours", 1, 30, "h"), one("end", "dry", "wet")}
	case "handover":
		words = []string{"mail-consent", one("proof", "unproved=", "unproved=no load")}
	case "return":
		words = []string{"why=theirs"}
	case "retire":
		words = []string{"reason=scrapped"}
	case "intake":
		words = []string{"complaint=hot"}
	case "dose":
		words = []string{"role=inhibitor", "family=azole"}
	case "open":
		words = []string{one("cause", "cause=none found", "cause=clog", "cause=mount")}
	case "swap":
		words = []string{"old-unit=kept", one("new", "fluid=pg", "fluid=eg", "fluid=")}
	}
	if rapid.Bool().Draw(rt, "already") {
		words = append(words, "already-done")
	}
	return line(rt, name, words...), name
}

// ethyleneIn tells whether the standing history put ethylene glycol into the
// charge that is in the loop, or left some there.
func ethyleneIn(history []loops.Entry) bool {
	in, rinsed, full := false, false, false
	for _, e := range loops.Standing(history) {
		switch e.Kind {
		case loops.KindFill:
			in, rinsed, full = e.Fill.Charge.Fluid == chemistry.EthyleneGlycol || in && !rinsed, false, true
		case loops.KindSwap:
			in, rinsed, full = e.Swap.Fluid == chemistry.EthyleneGlycol, false, true
		case loops.KindTopUp:
			for _, p := range e.TopUp.Poured {
				in = in || p.Fluid == chemistry.EthyleneGlycol
			}
		case loops.KindDrain: // an empty loop that is drained again is as rinsed as it was
			rinsed, full = rinsed && !full, false
		case loops.KindFlush:
			rinsed = true
		}
	}
	return in
}

// Whatever is done in whatever order, said to have happened or not: a loop that
// nothing proves, or that was retired, gains no life; none with ethylene glycol
// in it is called propylene glycol or water; one that may freeze, leaks, is
// contaminated or unproved without a reason is not handed over.
func TestNoHistoryMakesALoopBetterThanItIs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		b := bench{snapshot(), today.AddDays(-400)}
		if rapid.Bool().Draw(rt, "nothing can freeze") {
			noFrost(&b.snapshot)
		}
		for range rapid.IntRange(3, 14).Draw(rt, "acts") {
			b.day = b.day.AddDays(rapid.IntRange(0, 20).Draw(rt, "days"))
			act, name := anyAct(rt)
			was := b.snapshot.Loop.State
			if !b.try(rt, act) {
				continue
			}
			is := b.snapshot.Loop.State
			if is.LastKnownGood.After(was.LastKnownGood) {
				assert.False(rt, is.Unproved(), "%s made an unproved loop good", name)
				assert.True(rt, was.Retired.IsZero(), "%s made a retired loop good", name)
				assert.True(rt, is.Contaminated == nil && is.Leaking.IsZero() && is.ReturnedAsIs.IsZero(), "%s made a loop good that is not", name)
			}
			if name == "retire" || name == "return" {
				assert.False(rt, is.InService(), name)
			}
			if c := is.Charge; c != nil && ethyleneIn(b.snapshot.History) {
				assert.NotContains(rt, []chemistry.Fluid{chemistry.PropyleneGlycol, chemistry.TreatedWater, chemistry.DeionisedWater}, c.Fluid, "after %s", name)
				for _, caution := range chemistry.Cautions(c.Contents()) {
					assert.NotContains(rt, caution.Text, "low hazard", "after %s", name)
				}
			}
			if name == "handover" {
				assert.True(rt, was.Leaking.IsZero() && was.Contaminated == nil && was.Failed.IsZero() && was.Charge != nil)
				p := b.snapshot.Loop.Protection()
				assert.True(rt, b.snapshot.Loop.NoFrost || p != nil && p.Holds, "handed over where it may freeze")
				touched := slices.ContainsFunc(loops.Standing(b.snapshot.History), func(e loops.Entry) bool {
					return e.Kind == loops.KindOpening || e.Kind == loops.KindSwap || e.Kind == loops.KindFill
				})
				assert.True(rt, !touched || !was.LastLeakCheck.IsZero(), "handed over without a leak check")
				assert.True(rt, !was.Unproved() || act.(*acts.Handover).Unproved != "")
			}
		}
	})
}

// Worse is never better: a weaker or less sure charge, a colder or an unknown
// wall, a shorter or a wet check, and no proof never turn a stop into less.
func TestWorseIsNeverBetter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		type facts struct {
			mass, sure chemistry.MassFraction
			wall       *chemistry.Celsius
			hours      float64
			dry, proof bool
		}
		build := func(f facts) acts.Snapshot {
			fill := filled(-4)
			fill.Fill.Charge.Mass, fill.Fill.Charge.MassUncertainty = &f.mass, f.sure
			history := []loops.Entry{fill, checked(-2, f.hours, f.dry)}
			if f.proof {
				history = append(history, proved(-1))
			}
			s := snapshot(history...)
			s.Loop.ColdestWall = f.wall
			return s
		}
		better := facts{
			mass: chemistry.MassFraction(rapid.IntRange(25, 55).Draw(rt, "mass")) / 100, sure: chemistry.MassFraction(rapid.IntRange(0, 4).Draw(rt, "sure")) / 100,
			wall: new(chemistry.Celsius(-rapid.IntRange(0, 30).Draw(rt, "wall"))), hours: float64(rapid.IntRange(1, 30).Draw(rt, "hours")),
			dry: rapid.Bool().Draw(rt, "dry"), proof: rapid.Bool().Draw(rt, "proof"),
		}
		worse := better
		switch rapid.IntRange(0, 6).Draw(rt, "what") {
		case 0: // less sure
			worse.sure += 0.03
		case 1: // weaker, yet enough not to feed microbes
			worse.mass = max(0.25, worse.mass-0.1)
		case 2:
			worse.wall = new(*worse.wall - 5)
		case 3:
			worse.wall = nil
		case 4:
			worse.hours /= 2
		case 5:
			worse.dry = false
		case 6:
			worse.proof = false
		}
		for _, act := range []acts.Act{line(rt, "handover", "mail-consent"), line(rt, "poured", "poured=water=20ml"), line(rt, "readings", "gap=10ml")} {
			good := chemistry.Judge(act.Judge(build(better), today))
			bad := chemistry.Judge(act.Judge(build(worse), today))
			if worse.wall == nil && acts.KindOf(act) != loops.KindHandover { // nobody knows: no go comes of it, and nothing worse
				if acts.KindOf(act) == loops.KindTopUp {
					assert.NotEqual(rt, chemistry.Go, bad)
				}
				continue
			}
			assert.False(rt, good.Worse(bad), "%s: %s before, %s when it is worse: %+v, %+v", acts.KindOf(act), good, bad, better, worse)
		}
	})
}

// The command line and the API say the same act, so the gate gives the same
// reasons.
func TestSurfacesGiveTheSameReasons(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		act, name := anyAct(rt)
		d, _ := acts.Find(name)
		body, err := acts.WriteJSON(d.Fields, d.Say(act))
		assert.NoError(rt, err)
		said := readJSON(rt, d, body)
		sent, err := d.Read(said)
		assert.NoError(rt, err, string(body))
		s := snapshot(filled(-4), checked(-2, 24, rapid.Bool().Draw(rt, "dry")))
		assert.Equal(rt, act.Judge(s, today), sent.Judge(s, today), string(body))
		assert.Equal(rt, act.Check(s, today), sent.Check(s, today), string(body))
	})
}
