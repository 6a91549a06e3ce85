// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// returned refuses an act on a loop that left service and has not come in
// again.
func (s Snapshot) returned(on loops.Day, kind loops.EntryKind) error {
	retired := s.Loop.State.Retired
	if retired.IsZero() || on.Before(retired) {
		return nil
	}
	return wrong("tag", string(s.Loop.Tag), fmt.Sprintf("a loop in service: this one was retired on %s; record its intake before the %s", retired, kind))
}

// gone minds that a machine is let go which went back before and did not come in
// again.
func (s Snapshot) gone(state loops.State) []Reason {
	if state.HandedOver.IsZero() && state.ReturnedAsIs.IsZero() {
		return nil
	}
	back := cmp.Or(state.HandedOver, state.ReturnedAsIs)
	if slices.ContainsFunc(s.Beside, func(l loops.Loop) bool { return l.State.Arrived.After(back) }) {
		return nil // its intake stands with another of its loops
	}
	return []Reason{byRecord("not-in", chemistry.Care, "the machine went back on "+back.Long()+", and nobody wrote down that it came in since.",
		"Where it was here, record the intake for the day it came; where it was not, strike this out.")}
}

// beside says which other loops of the machine forbid letting it go as repaired:
// they go with it. One that was given back as it is has had its papers.
func (s Snapshot) beside(on loops.Day) []Reason {
	var reasons []Reason
	for _, l := range s.Beside {
		var found []string
		for _, c := range l.State.Conditions() {
			if c.Off && !c.Since.After(on) {
				found = append(found, string(c.Kind))
			}
		}
		if empty := l.State.Empty; !empty.IsZero() && !empty.After(on) {
			found = append(found, "drained")
		}
		if len(found) == 0 || !l.State.Retired.IsZero() {
			continue
		}
		r := byRecord("loop-beside", chemistry.Stop,
			fmt.Sprintf("the loop %s of the same machine is %s, and goes with it.", l.Tag, strings.Join(found, " and ")),
			fmt.Sprintf("Put %s right first, or give that loop back as it is.", l.Tag))
		if !l.State.ReturnedAsIs.IsZero() {
			r.Verdict, r.Way = chemistry.Care, ""
		}
		reasons = append(reasons, r)
	}
	return reasons
}

// unmakes says that an act takes away what the last hand-over rests on: it
// strikes it out, or is told late of the days before.
func (s Snapshot) unmakes(a Act, today loops.Day) []Reason {
	after := s.with(a, today)
	for _, e := range slices.Backward(loops.Standing(after.History)) {
		if e.Kind != loops.KindHandover {
			continue
		}
		if e.Day != loops.Fold(after.History).HandedOver || KindOf(a) != loops.KindCorrection && !a.doing().on(today).Before(e.Day) {
			return nil
		}
		handover, _ := Entered(e)
		rested := handover.Judge(s, e.Day)
		broken := slices.DeleteFunc(handover.Judge(after, e.Day), func(r Reason) bool {
			return r.Verdict != chemistry.Stop || slices.ContainsFunc(rested, func(before Reason) bool { return before.Rule == r.Rule })
		})
		if len(broken) == 0 {
			return nil
		}
		return []Reason{byRecord("released", chemistry.Care,
			fmt.Sprintf("the machine was handed over on %s, and by this record it should not have been: %s.", e.Day.Long(), ruleNames(broken)),
			"Tell the owner and take the machine in again, or put right here what is wrong.")}
	}
	return nil
}

// tooCold says what speaks against letting the charge go where its loop may
// freeze: only the warm end of its interval counts.
func (s Snapshot) tooCold(state loops.State) []Reason {
	loop := s.Loop
	loop.State = state
	p := loop.Protection()
	if _, walled := loop.Wall(); p == nil && loop.NoFrost && !walled {
		return []Reason{byRecord("unknown-strength", chemistry.Care, "nobody knows its fluid or its strength; nothing in the loop can freeze, by its record.",
			"Keep it from frost, and read the strength of a drop where one can be had.")}
	}
	if p == nil {
		return []Reason{byRecord("unknown-strength", chemistry.Stop, "nobody knows what cold the charge bears: its fluid or its strength is not known.",
			"Read the strength of a drop, or drain, rinse and fill.")}
	}
	if p.Wall == nil && !p.NoFrost {
		return []Reason{byRecord("wall-unknown", chemistry.Stop, "nobody said how cold the coldest wetted wall gets.",
			"Ask how cold it gets in use, storage and on the way, and write it into the loop's record, or that nothing in it can freeze.")}
	}
	if p.Holds {
		return nil
	}
	return []Reason{{
		Rule: "frost", Verdict: chemistry.Stop, Overrulable: true,
		Text: fmt.Sprintf("the charge may begin to freeze at %s (%.1f ± %.1f °C), and its coldest wall gets %s.",
			p.WarmEnd(), float64(p.FreezePoint), float64(p.Uncertainty), *p.Wall),
		OwnerText: fmt.Sprintf("The cooling liquid may begin to freeze at %s. Keep the machine warmer than that, in use, stored and on the way.", p.WarmEnd()),
		Source:    "Melinder 2010 and ASHRAE Handbook Fundamentals", Grade: chemistry.Secondary, Way: "Fill it stronger, or agree on a warmer place and write that wall into the loop's record.",
	}}
}

// unfit says which of the loop's states on a day forbid letting it go as repaired.
func (s Snapshot) unfit(state loops.State, on loops.Day) []Reason {
	var reasons []Reason
	stop := func(rule, text, way string, overrulable bool) {
		reasons = append(reasons, Reason{Rule: rule, Verdict: chemistry.Stop, Text: text, Source: sourceRecord, Grade: chemistry.Computed, Way: way, Overrulable: overrulable})
	}
	if state.Charge == nil {
		stop("no-charge", "the loop holds nothing, by its record.", "Record its fill, or hand it back as it is.", false)
	}
	if !state.Leaking.IsZero() {
		stop("leaking", "a leak check ended wet on "+state.Leaking.Long()+", and none of full length has been dry since.",
			fmt.Sprintf("Repair it and run a leak check of %d hours, or hand it back as it is.", loops.LeakCheckHours), false)
	} else if _, done := loops.AsItIs(s.until(on)); state.LastLeakCheck.IsZero() && (state.Charge == nil || done != "") {
		stop("leak-check", fmt.Sprintf("no leak check of %d hours has stayed dry since the loop was %s.", loops.LeakCheckHours, cmp.Or(done, "filled")),
			fmt.Sprintf("Run the pump alone for %d hours over dry paper and record it.", loops.LeakCheckHours), true)
	}
	if c := state.Contaminated; c != nil {
		stop("contaminated", "the loop is contaminated: "+c.String()+", since "+c.Day.Long()+".", "Drain, rinse and fill it, or hand it back as it is.", false)
	}
	if !state.Failed.IsZero() {
		stop("failed", fmt.Sprintf("the loop was found failed on %s (%s), and nothing was done about it since.", state.Failed.Long(), state.Cause),
			"Clean and fill it, or hand it back as it is.", false)
	}
	return reasons
}

// builtAs says what speaks against relying on how the loop is built: nobody
// looked yet, or another unit of its model was taken for it.
func (s Snapshot) builtAs() []Reason {
	var text string
	switch known := s.Loop.BuiltKnown; known.How {
	case loops.NotKnown:
		text = "nobody looked yet how the loop is built; it is taken for sealed, and of metals that nobody named nothing is judged."
	case loops.Assumed:
		text = "how the loop is built, its metals too, is assumed: " + cmp.Or(known.By, "nobody said from what") + "."
	default:
		return nil
	}
	return []Reason{byRecord("built-unknown", chemistry.Care, text,
		"Look at it, and write into its record whether it is sealed and what its parts are made of.")}
}
