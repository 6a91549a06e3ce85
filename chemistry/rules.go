// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "slices"

// Biostatic is the volume fraction of glycol from which on microbes do not grow in it; below it some do. Common practice, no source.
const Biostatic VolumeFraction = 0.25

// Feeds tells that so much glycol is below [Biostatic], read as it is printed: what was typed as 25 % and came back from its mass is not.
func (v VolumeFraction) Feeds() bool { return v < Biostatic-0.0005 }

// Rule is one line of the rules table: what must not or need not happen in a loop. A rule with the verdict [Go] is a note.
type Rule struct {
	ID        string  `json:"id"`
	When      string  `json:"when"` // the condition in words
	Verdict   Verdict `json:"verdict"`
	Text      string  `json:"text"`                 // for the technician
	OwnerText string  `json:"owner_text,omitempty"` // for the owner; empty when it is none of the owner's business
	Source    string  `json:"source"`
	Grade     Grade   `json:"grade"`
	// Overrulable tells that a technician may set the rule aside by name and reason: it costs a loop and hurts nobody.
	Overrulable bool `json:"-"`

	applies func(*facts) bool
	detail  func(*facts) string // figures of the case, put before Text; may be nil
}

// Rules returns the rules table in the order it is listed for people. The slice is the caller's own.
func Rules() []Rule {
	return slices.Concat(mixingRules(), corrosionRules(), biocideRules(), strengthRules(), frostRules(), loopRules(), cleaningRules())
}

// FillRequest asks whether a liquid may be in a loop.
type FillRequest struct {
	Contents
	PH          *float64 // nil: not measured
	Metals      []Metal  // wetted
	Materials   []Material
	WithinReach bool // animals or children can get at the machine
	// Loop is the one it is in or goes into; nil where only the liquid is asked about.
	Loop *FilledLoop
}

// CheckFill returns every rule that a liquid in a loop breaks, whatever is to be added; [Judge] makes one verdict of them. A
// fluid that is none, an impossible fraction and an impossible pH are an [*InvalidError]; an unknown fluid (empty), an
// unknown strength and one above 60 vol % are answered by rules.
func CheckFill(r FillRequest) ([]Reason, error) {
	f := &facts{base: r.Fluid, unknown: r.Fluid == "", inhibitor: r.Inhibitor, biocide: r.Biocide, pH: r.PH, metals: r.Metals, materials: r.Materials, additives: r.families(), withinReach: r.WithinReach}
	if r.PH != nil {
		if err := checkBounds([]bound{{"pH", *r.PH, 0, 14, "", "0 to 14"}}); err != nil {
			return nil, err
		}
	}
	if r.Fluid == DeionisedWater && f.inhibitor == "" {
		f.inhibitor = NoInhibitor
	}
	switch {
	case r.Fluid == "", r.Fluid.other() != nil:
	case r.Mass != nil && r.Fluid.IsGlycol() && *r.Mass > MaxMassFraction && *r.Mass <= 1:
		// Beyond the tables there is no freeze point, but the rule about too much glycol needs none.
		f.after, f.glycol = FractionState{Mass: *r.Mass, Volume: volumeFraction(r.Fluid, *r.Mass)}, true
	case r.Mass != nil:
		if err := checkFraction(r.Fluid, *r.Mass); err != nil {
			return nil, err
		}
		f.after, f.glycol = state(r.Fluid, *r.Mass), r.Fluid.IsGlycol()
	case r.Fluid.IsGlycol():
		if err := r.Fluid.check(); err != nil {
			return nil, err
		}
		f.noMass = true
	default:
		if err := r.Fluid.check(); err != nil {
			return nil, err
		}
	}
	if r.Loop != nil {
		if err := r.Loop.tell(f, r.Contents); err != nil {
			return nil, err
		}
	}
	return f.reasons(), nil
}

// facts is what the rules look at.
type facts struct {
	base        Fluid // in the loop
	unknown     bool  // the fluid in the loop is not known
	noMass      bool  // the strength in the loop is not known
	evaporated  bool  // stronger than it was filled
	inhibitor   Inhibitor
	biocide     Biocide
	pH          *float64
	metals      []Metal
	materials   []Material
	additives   []Family // beyond inhibitor and biocide
	withinReach bool
	with        []Liquid // at hand

	planned   bool // the fields below are worked out
	after     FractionState
	glycol    bool // there is glycol at all
	unreached bool // the liquids at hand cannot reach the wanted strength
	doses     []DoseLevel
	target    Celsius // freeze point wanted
	badEnd    Celsius // freeze point, warm end of its interval

	sealed    bool
	room      Litre // free now
	expansion Litre // needed up to the hottest temperature
	wall      *Celsius
	noFrost   bool  // somebody said that nothing can freeze
	over      Litre // poured beyond what the loop holds
	noVolume  bool  // what the loop holds is not known
	noMetals  bool  // the wetted metals are not known

	unfilled Litre // room that the plan leaves free
	neat     bool  // neat concentrate goes in with nothing to thin it
	drained  Litre // by the plan

	wished   bool             // the glycol was asked for, so that a trace is no residue
	bulk     bool             // concentrate is to be thinned for a big system
	guess    bool             // a product's label says no freeze point
	coarse   bool             // the scale's step is coarse for the amount
	cleaning *CleaningRequest // nil unless a way of cleaning is asked about
}

func (f *facts) wets(metals ...Metal) bool {
	return slices.ContainsFunc(metals, func(m Metal) bool { return slices.Contains(f.metals, m) })
}

// inhibitors returns the known inhibitor families of the charge and the liquids at hand.
func (f *facts) inhibitors() []Inhibitor {
	all := []Inhibitor{f.inhibitor}
	for _, l := range f.with {
		all = append(all, l.Inhibitor)
	}
	for _, a := range f.additives {
		if a.Kind == KindInhibitor {
			all = append(all, Inhibitor(a.ID))
		}
	}
	return slices.DeleteFunc(all, func(i Inhibitor) bool { return i == "" || i == NoInhibitor })
}

func (f *facts) inhibits(families ...Inhibitor) bool {
	all := f.inhibitors()
	return slices.ContainsFunc(families, func(i Inhibitor) bool { return slices.Contains(all, i) })
}

// treated reports whether one of the biocides is in the charge or in a liquid at hand.
func (f *facts) treated(biocides ...Biocide) bool {
	return slices.ContainsFunc(biocides, func(b Biocide) bool {
		return f.biocide == b || slices.Contains(f.additives, Family{KindBiocide, string(b)}) ||
			slices.ContainsFunc(f.with, func(l Liquid) bool { return l.Biocide == b })
	})
}

// glycols reports whether both glycols are among charge and liquids at hand.
func (f *facts) glycols() bool {
	return f.base.IsGlycol() && f.offers(func(l Liquid) bool { return l.Fluid.IsGlycol() && l.Fluid != f.base })
}

func (f *facts) offers(is func(Liquid) bool) bool { return slices.ContainsFunc(f.with, is) }

// conducts reports whether something other than deionised water is offered to a deionised loop.
func (f *facts) conducts() bool {
	return f.base == DeionisedWater && f.offers(func(l Liquid) bool { return l.Fluid != DeionisedWater })
}

// glycolIntoWater reports whether glycol is offered to a loop with treated water.
func (f *facts) glycolIntoWater() bool {
	return f.base == TreatedWater && f.offers(func(l Liquid) bool { return l.glycol() && l.Mass > 0 })
}

// clash reports whether the liquids at hand do not belong together, so that there is nothing to plan.
func (f *facts) clash() bool { return f.glycols() || f.conducts() || f.glycolIntoWater() }

// reasons returns the rules that fire on f, in the table's order.
func (f *facts) reasons() []Reason {
	return append(f.fire(slices.Concat(mixingRules(), corrosionRules(), biocideRules(), strengthRules(), frostRules(), loopRules())), meetings(f.met())...)
}

func (f *facts) fire(rules []Rule) []Reason {
	var out []Reason
	for _, r := range rules {
		if r.applies(f) {
			text := r.Text
			if r.detail != nil {
				text = r.detail(f) + ": " + text
			}
			out = append(out, Reason{Rule: r.ID, Verdict: r.Verdict, Text: text, OwnerText: r.OwnerText, Source: r.Source, Grade: r.Grade, Overrulable: r.Overrulable})
		}
	}
	return out
}
