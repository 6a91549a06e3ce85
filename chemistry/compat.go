// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"cmp"
	"slices"
	"strings"

	"fillmark/chemistry/tables"
)

// notLooked stands for a pair that no source read speaks of.
const notLooked = "not known: care. Keep them apart, or ask the maker of either."

// Compatibility says what happens where two families meet, as a rule of its own whose id names both. A pair that the table does not
// hold, and one that was looked for and not found, is [Care].
func Compatibility(a, b Family) Rule {
	if by := cmp.Compare(slices.Index(Kinds(), a.Kind), slices.Index(Kinds(), b.Kind)); by > 0 || by == 0 && b.ID < a.ID {
		a, b = b, a
	}
	r := Rule{
		ID: a.label() + "+" + b.label(), When: a.Name() + " meets " + b.Name(),
		Verdict: Care, Text: notLooked, Source: "no source found", Grade: FromMemory,
	}
	c, ok := tables.All().Cells[tables.PairOf(a.key(), b.key())]
	if ok && c.Verdict != "unknown" {
		r.Verdict, r.Text, r.Source, r.Grade = Verdict(c.Verdict), c.Text, citations(c.Sources), Grade(c.Grade)
	}
	r.Overrulable, r.OwnerText = r.Verdict == Stop && costsOnlyTheLoop(a, b), meetingForOwner(a.Kind, b.Kind, r.Verdict)
	return r
}

// meetingForOwner says a cell in an owner's words, which name no substance; kinds are in the order of [Kinds].
func meetingForOwner(a, b Kind, v Verdict) string {
	what := "What is in the coolant and a part that it wets do not suit each other. "
	switch {
	case v == Go:
		return ""
	case a == KindAgent:
		what = "What the loop was cleaned with does not suit what is in it. "
	case b == KindBiocide || b == KindInhibitor || b == KindFluid:
		what = "Two things in the coolant do not suit each other. "
	}
	if v == Stop {
		return what + "Leave the machine switched off until we have changed it."
	}
	return what + "We watch for it at each visit; add nothing yourself."
}

// costsOnlyTheLoop reports whether the worst of two families that meet is a spoilt loop, so that a technician may set a stop aside: a
// biocide on a metal, and a biocide that uses up the corrosion protection. What gives gas, heat, pressure or a poison is none of these.
func costsOnlyTheLoop(a, b Family) bool {
	if a.Kind != KindBiocide {
		return false
	}
	azoleOrNitrite := b == Family{KindInhibitor, string(Azole)} || b == Family{KindInhibitor, string(Nitrite)}
	return b.Kind == KindMetal || a.ID == string(Oxidiser) && azoleOrNitrite
}

// Meet reports whether the table has cells for two kinds. Agents meet everything; metals, seals and plastics do not meet each other
// there.
func Meet(a, b Kind) bool {
	with := map[Kind][]Kind{
		KindBiocide:   {KindBiocide, KindInhibitor, KindMetal},
		KindInhibitor: {KindInhibitor, KindMetal},
		KindFluid:     {KindFluid, KindSeal, KindPlastic},
	}
	return a == KindAgent || b == KindAgent || slices.Contains(with[a], b) || slices.Contains(with[b], a)
}

// ParsePair finds the cell that a rule's id names, such as "acid+bleach" or "aluminium+copper-biocide".
func ParsePair(id string) (Rule, bool) {
	first, second, ok := strings.Cut(id, "+")
	if !ok {
		return Rule{}, false
	}
	for _, a := range labelled(first) {
		for _, b := range labelled(second) {
			if Meet(a.Kind, b.Kind) && a != b {
				return Compatibility(a, b), true
			}
		}
	}
	return Rule{}, false
}

// labelled returns the families whose label is s: a name may stand on two axes.
func labelled(s string) []Family {
	var out []Family
	for _, k := range Kinds() {
		for _, f := range Families(k) {
			if f.label() == s {
				out = append(out, f)
			}
		}
	}
	return out
}

// meetings returns the reasons of every two families that meet, worst first in the table's own words. What goes together says nothing.
func meetings(all []Family) []Reason {
	var out []Reason
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a == b || !Meet(a.Kind, b.Kind) {
				continue
			}
			if r := Compatibility(a, b); r.Verdict != Go {
				out = append(out, Reason{Rule: r.ID, Verdict: r.Verdict, Text: a.Name() + " and " + b.Name() + ": " + r.Text, OwnerText: r.OwnerText, Source: r.Source, Grade: r.Grade, Overrulable: r.Overrulable})
			}
		}
	}
	return out
}

// Unrinsed returns what speaks against a liquid that goes in where another was and nobody rinsed, with the agents that it was cleaned
// with: the reasons of every two families of which one was left and one comes. Which fluids spoil each other is the mixing rules' to say.
func Unrinsed(left Contents, agents []Agent, next Contents) []Reason {
	was, comes := left.all(), next.all()
	for _, a := range agents {
		was = append(was, Family{KindAgent, string(a)})
	}
	var out []Reason
	for _, a := range was {
		for _, b := range comes {
			if a.Kind != KindFluid || b.Kind != KindFluid {
				out = append(out, meetings([]Family{a, b})...)
			}
		}
	}
	return out
}

// all returns the families of what is in a liquid.
func (c Contents) all() []Family {
	f := facts{base: c.Fluid, inhibitor: c.Inhibitor, biocide: c.Biocide, additives: c.families()}
	return f.met()
}

// met returns the families that come together in a loop, each once.
func (f *facts) met() []Family {
	var all []Family
	add := func(k Kind, id string) {
		if family := (Family{k, id}); id != "" && id != "none" && !slices.Contains(all, family) {
			all = append(all, family)
		}
	}
	if f.cleaning != nil {
		for _, a := range f.cleaning.Agents {
			add(KindAgent, string(a))
		}
	}
	add(KindBiocide, string(f.biocide))
	add(KindInhibitor, string(f.inhibitor))
	add(KindFluid, string(f.base))
	for _, l := range f.with {
		add(KindBiocide, string(l.Biocide))
		add(KindInhibitor, string(l.Inhibitor))
	}
	for _, a := range f.additives {
		add(a.Kind, a.ID)
	}
	for _, m := range f.metals {
		add(KindMetal, string(m))
	}
	for _, m := range f.materials {
		add(m.Family().Kind, string(m))
	}
	return all
}

// protects reports whether a known inhibitor, in the charge or at hand, goes with every one of the metals.
func (f *facts) protects(metals ...Metal) bool {
	return slices.ContainsFunc(f.inhibitors(), func(i Inhibitor) bool {
		return !slices.ContainsFunc(metals, func(m Metal) bool {
			return Compatibility(Family{KindInhibitor, string(i)}, Family{KindMetal, string(m)}).Verdict != Go
		})
	})
}
