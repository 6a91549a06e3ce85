// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"cmp"
	"fmt"

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

// tooCold says what speaks against letting the charge go where its loop may
// freeze: only the warm end of its interval counts.
func (s Snapshot) tooCold(state loops.State) []Reason {
	loop := s.Loop
	loop.State = state
	p := loop.Protection()
	if p == nil {
		return []Reason{{
			Rule: "unknown-strength", Verdict: chemistry.Stop, Text: "nobody knows what cold the charge bears: its fluid or its strength is not known.",
			Source: sourceRecord, Grade: chemistry.Computed, Way: "Read the strength of a drop, or drain, rinse and fill.",
		}}
	}
	if p.Wall == nil && !p.NoFrost {
		return []Reason{{
			Rule: "wall-unknown", Verdict: chemistry.Stop, Text: "nobody said how cold the coldest wetted wall gets.", Source: sourceRecord, Grade: chemistry.Computed,
			Way: "Ask how cold it gets in use, storage and on the way, and write it into the loop's record, or that nothing in it can freeze.",
		}}
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

// unfit says which of the loop's states forbid letting it go as repaired.
func (s Snapshot) unfit(state loops.State) []Reason {
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
	} else if state.LastLeakCheck.IsZero() && (state.Charge == nil || state.Charge.Origin == loops.WorkshopFill) {
		stop("leak-check", fmt.Sprintf("no leak check of %d hours has stayed dry since the loop was filled.", loops.LeakCheckHours),
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
	return []Reason{{
		Rule: "built-unknown", Verdict: chemistry.Care, Text: text, Source: sourceRecord, Grade: chemistry.Computed,
		Way: "Look at it, and write into its record whether it is sealed and what its parts are made of.",
	}}
}
