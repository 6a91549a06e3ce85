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

// Fill puts a new charge into an emptied loop; or says, for the factory's or
// somebody unknown's, what is in it already.
type Fill struct {
	Doing
	loops.Charge
	// Inhibitor and Biocide are the first of each, Charge.Additives the others.
	Inhibitor, Biocide loops.Additive
	// ByVolume is the strength in volume % before mixing at 20 °C, where it was
	// said that way; Mass then follows from it.
	ByVolume *chemistry.VolumeFraction
	Poured   []loops.Pour
}

func fillAct() Definition {
	return define(Definition{
		Name: "fill", Done: "Filled", Kind: loops.KindFill,
		Short: "Fill the loop: what it now holds",
		Long: `Fill starts a new charge. For one that the factory or somebody unknown put in,
say --origin and between which days; its volume and strength may be unknown.`,
		Examples: []string{
			"7K3QXW --fluid pg --mass 40% --poured 480ml --inhibitor azole::24 --biocide isothiazolinone::12",
			"7K3QXW --poured 3=200ml --poured water=280ml --inhibitor oat --formulated --biocide none",
			"7K3QXW --fluid unknown --origin factory --filled-from 2022-01-01 --filled-to 2023-06-30",
		},
	}, fillFields(), func(e loops.Entry) Fill {
		a := Fill{Charge: e.Fill.Charge, Poured: e.Fill.Poured}
		a.Additives = nil
		for _, d := range e.Fill.Charge.Additives {
			if first := a.first(d.Role); *first == (loops.Additive{}) {
				*first = d.Additive
			} else {
				a.Additives = append(a.Additives, d)
			}
		}
		return a
	})
}

// first is the first additive of a role.
func (a *Fill) first(role loops.AdditiveRole) *loops.Additive {
	if role == loops.RoleBiocide {
		return &a.Biocide
	}
	return &a.Inhibitor
}

// additives are all of them, in the order they are told.
func (a *Fill) additives() []loops.Dosed {
	var all []loops.Dosed
	for _, role := range loops.AdditiveRoles() {
		if first := *a.first(role); first != (loops.Additive{}) {
			all = append(all, loops.Dosed{Role: role, Additive: first})
		}
	}
	return append(all, a.Additives...)
}

func fillFields() fields[Fill] {
	origins := []loops.Origin{loops.WorkshopFill, loops.Factory, loops.UnknownOrigin}
	additive := func(role loops.AdditiveRole, family kind[string]) fields[Fill] {
		name, at := string(role), func(a *Fill) *loops.Additive { return a.first(role) }
		also := func(what string) []string { return []string{name + " " + what} }
		return fields[Fill]{
			one(Field{Name: name, Also: also("family"), Label: name, Help: "family of the " + name + ", or none", Unknown: true}, family, func(a *Fill) *string { return &at(a).Family }),
			one(Field{Name: name + "-product", Also: also("product"), Label: "by label", Help: name + " as its label says"}, words(), func(a *Fill) *string { return &at(a).Product }),
			one(Field{Name: name + "-dose", Also: also("dose"), Label: "label's dose", Help: "the label's dose of " + name + ", in product per litre of coolant", Example: "2ml/l"}, dose(), func(a *Fill) *float64 { return &at(a).DoseMLPerL }),
			one(Field{Name: name + "-life", Also: also("life"), Label: "label gives it", Help: "months that the label of the " + name + " declares", Example: "24"}, whole("MONTHS", "months"), func(a *Fill) *int { return &at(a).LifeMonths }),
		}
	}
	return slices.Concat(fields[Fill]{
		one(Field{Name: "fluid", Label: "", Help: "fluid: eg, pg, water (with additives) or deionised; unknown for a factory's; what should not be in a loop is recorded where it was found", Example: "pg", Unknown: true}, anyFluid(), func(a *Fill) *chemistry.Fluid { return &a.Fluid }),
		may(Field{Name: "mass", Also: []string{"strength"}, Label: "", Help: "strength, glycol mass %", Example: "40%", Unknown: true}, massPercent(), func(a *Fill) **chemistry.MassFraction { return &a.Mass }),
		may(Field{Name: "volume", Label: "", Help: "strength, glycol volume % before mixing at 20 °C", Example: "38%"}, volumePercent(), func(a *Fill) **chemistry.VolumeFraction { return &a.ByVolume }),
		one(Field{Name: "mass-uncertainty", Also: []string{"strength uncertainty"}, Label: "±", Help: "how sure the strength is, mass % (k = 2)", Example: "1%"}, massPercent(), func(a *Fill) *chemistry.MassFraction { return &a.MassUncertainty }),
		one(Field{Name: "mass-known", Also: []string{"strength known"}, Label: "", Help: "how the strength is known (calculated from what was poured, unless said)"}, how(), func(a *Fill) *loops.How { return &a.MassKnown.How }),
		many(Field{Name: "poured", Also: []string{"liquid"}, Label: "poured", Help: "what went in, or a container and how much came out of it; repeat", Example: "480ml or 3=480ml"}, pour(), func(a *Fill) *[]loops.Pour { return &a.Poured }),
		one(Field{Name: "filled", Also: []string{"volume"}, Label: "in the loop", Help: "how much the loop holds after it, where that is not what was poured", Example: "500ml"}, volume(), func(a *Fill) *chemistry.Litre { return &a.Charge.Volume }),
		one(Field{Name: "origin", Label: "by", Help: "who put it in (workshop unless said)"}, choice("ORIGIN", origins), func(a *Fill) *loops.Origin { return &a.Origin }),
		one(Field{Name: "filled-from", Also: []string{"filled from"}, Label: "not before", Help: "earliest day of a fill that is not exactly known"}, day(), func(a *Fill) *loops.Day { return &a.FilledFrom }),
		one(Field{Name: "filled-to", Also: []string{"filled to", "filled"}, Label: "not after", Help: "latest day of a fill that is not exactly known"}, day(), func(a *Fill) *loops.Day { return &a.FilledTo }),
	},
		additive(loops.RoleInhibitor, familyOf(loops.RoleInhibitor, chemistry.Inhibitors())),
		additive(loops.RoleBiocide, familyOf(loops.RoleBiocide, chemistry.Biocides())),
		fields[Fill]{
			many(Field{Name: "additive", Label: "and", Help: "a further one: role, family, label's dose, months of life, product, as in biocide:bronopol:2ml/l:12:Clear B; repeat"}, dosed(), func(a *Fill) *[]loops.Dosed { return &a.Additives }),
			one(Field{Name: "fluid-life", Also: []string{"fluid life"}, Label: "label gives the coolant", Help: "months that the coolant's label declares", Example: "36"}, whole("MONTHS", "months"), func(a *Fill) *int { return &a.FluidLifeMonths }),
			one(Field{Name: "formulated", Label: "with its inhibitor in it", Help: "the inhibitor came in the coolant"}, truth(), func(a *Fill) *bool { return &a.FormulatedProduct }),
			one(Field{Name: "re-dosable", Label: "may be dosed again", Help: "its label allows dosing it again"}, truth(), func(a *Fill) *bool { return &a.ReDosable }),
			one(Field{Name: "product", Label: "product", Help: "coolant as its label says"}, words(), func(a *Fill) *string { return &a.Product }),
			one(Field{Name: "lot", Label: "lot", Help: "lot on the label"}, words(), func(a *Fill) *string { return &a.Lot }),
		})
}

func familyOf[V interface {
	~string
	Name() string
}](role loops.AdditiveRole, all []V,
) kind[string] {
	k := kind[string]{word: "FAMILY", typ: Text, parse: role.Family, print: same, show: func(s string) string { return V(s).Name() }}
	for _, v := range all {
		k.choices = append(k.choices, string(v))
	}
	return k
}

// charge completes what was said: days, strength from its other basis, volume
// and product from what was poured.
func (a *Fill) charge(s Snapshot, today loops.Day) (loops.Charge, []loops.Pour, error) {
	c := a.Charge
	c.Additives = a.additives()
	if c.Origin == "" {
		c.Origin = loops.WorkshopFill
	}
	if c.FilledTo.IsZero() {
		c.FilledTo = a.on(today)
	}
	if c.FilledFrom.IsZero() && c.Origin == loops.WorkshopFill {
		c.FilledFrom = c.FilledTo
	}
	poured, err := s.fromShelf(a.Poured)
	left := s.leftInside(a.on(today), poured)
	inside := slices.Concat(poured, left)
	if err == nil {
		err = s.asPoured(a, inside, &c)
	}
	if err == nil {
		err = a.strength(&c)
	}
	if err != nil {
		return c, nil, err
	}
	calculated := c.MassKnown.How == loops.Calculated
	if calculated && a.Charge.Mass == nil && a.ByVolume == nil {
		for _, p := range left {
			c.MassKnown.By += ", and " + p.Volume.String() + " left inside"
		}
	}
	if c = c.Sure(); calculated {
		c.MassUncertainty = max(c.MassUncertainty, labelsOff(poured))
	}
	if c.Volume == 0 && len(poured) > 0 {
		c.Volume = s.together(inside)
		if len(left) == 0 {
			c.Volume += s.remained(a.on(today))
		}
	}
	named := poured[:0:0]
	for _, p := range poured { // a bare amount is the charge itself
		if p.Liquid == "" {
			continue
		}
		named = append(named, p)
		if box, ok := s.container(p.Container); ok && c.Product == "" && c.Lot == "" {
			c.Product, c.Lot = box.Product, box.Lot
		}
	}
	return c, named, nil
}

// asPoured takes fluid and strength from what was poured, where nobody said
// them: of one container as it is on record, of several liquids by their
// masses. What was poured must not be another glycol than was said.
func (s Snapshot) asPoured(a *Fill, poured []loops.Pour, c *loops.Charge) error {
	said := c.Mass != nil || a.ByVolume != nil || c.MassKnown.How == loops.NotKnown
	for _, p := range poured {
		switch {
		case p.Fluid.IsGlycol() && c.Fluid != "" && p.Fluid != c.Fluid:
			return wrong("poured", printPour(p), c.Fluid.Name()+", as the charge: this is "+p.Fluid.Name())
		case p.Liquid == "" && c.Fluid == "" && len(poured) > 1 && !said:
			return wrong("poured", printPour(p), "what it was and how much, such as water=460ml, or 3=40ml from container 3")
		case p.Liquid == "":
			said = true // a bare amount is the charge itself
		}
	}
	if i := slices.IndexFunc(poured, func(p loops.Pour) bool { return p.Fluid.IsGlycol() }); said && c.Fluid == "" && i >= 0 {
		c.Fluid = poured[i].Fluid // its strength alone was said
	}
	if said || len(poured) == 0 {
		return nil
	}
	if box, ok := s.container(poured[0].Container); ok && len(poured) == 1 && (c.Fluid == "" || c.Fluid == box.Fluid) {
		mass, off := box.Strength()
		c.Fluid, c.Mass, c.MassUncertainty = box.Fluid, mass, max(c.MassUncertainty, off)
		if mass != nil && c.MassKnown.How == "" {
			c.MassKnown = loops.Known{How: cmp.Or(box.MassKnown.How, loops.OnLabel), By: box.Product}
		}
		return nil
	}
	b, err := chemistry.Blend(s.liquids(poured))
	switch {
	case err != nil:
		return err
	case b.Fluid.IsGlycol():
		c.Fluid, c.Mass = b.Fluid, &b.Mass
	case c.Fluid.IsGlycol():
		return wrong("poured", "", "the "+c.Fluid.Name()+" too: only water is said")
	case c.Fluid == "":
		c.Fluid = b.Fluid
	}
	if b.Uncertainty > loops.AssumedStrength {
		c.MassUncertainty = max(c.MassUncertainty, b.Uncertainty)
	}
	return nil
}

// strength settles the strength from the basis it was said in, and how it is
// known.
func (a *Fill) strength(c *loops.Charge) error {
	given := c.Mass != nil || a.ByVolume != nil
	switch {
	case c.Fluid == "" && given:
		return wrong("mass", "given", "no strength where the fluid is not known")
	case c.Fluid == "":
		return nil
	case c.Fluid.Further() && a.ByVolume != nil:
		return wrong("volume", a.ByVolume.String(), "a strength by mass: of "+c.Fluid.Name()+" no volume % is worked out")
	case c.Fluid.Further():
	case !c.Fluid.IsGlycol():
		if c.Mass != nil && *c.Mass != 0 || a.ByVolume != nil {
			return wrong("mass", "given", "none: "+c.Fluid.Name()+" holds no glycol")
		}
		c.Mass = new(chemistry.MassFraction(0))
		return nil
	case c.Mass != nil && a.ByVolume != nil:
		return wrong("volume", a.ByVolume.String(), "mass or volume, not both: they are two ways to say one strength")
	case a.ByVolume != nil:
		mass, err := chemistry.MassFractionOf(c.Fluid, *a.ByVolume)
		if err != nil {
			return err
		}
		c.Mass = &mass
	}
	switch {
	case c.Mass == nil:
		c.MassKnown = loops.Known{How: loops.NotKnown}
	case c.MassKnown.How == "" && c.Origin == loops.WorkshopFill:
		c.MassKnown = loops.Known{How: loops.Calculated, By: "what was poured"}
	case c.MassKnown.How == "":
		c.MassKnown = loops.Known{How: loops.OwnerSays}
	}
	return nil
}

// Containers are those that it was poured from.
func (a *Fill) Containers() []loops.ContainerID { return drawnFrom(a.Poured) }

// Check refuses days, amounts and strengths that cannot be.
func (a *Fill) Check(s Snapshot, today loops.Day) error {
	if err := s.returned(a.on(today), loops.KindFill); err != nil {
		return err
	}
	for _, d := range a.additives() {
		if err := ofNone(d); err != nil {
			return err
		}
	}
	c, named, err := a.charge(s, today)
	if err != nil {
		return err
	}
	if c.FilledTo.After(a.on(today)) {
		return wrong("filled-to", c.FilledTo.String(), "not after the day of the fill, "+a.on(today).String())
	}
	if c.Origin == loops.WorkshopFill && c.Volume == 0 {
		return wrong("poured", "", "how much went in, such as 480ml")
	}
	in := sum(a.Poured)
	if len(named) == len(a.Poured) {
		in = s.together(named)
	}
	if in > c.Volume+rounding {
		return wrong("filled", c.Volume.String(), "not less than what went in, "+in.String())
	}
	return nil
}

// ofNone refuses what a label says beside none of its role.
func ofNone(d loops.Dosed) error {
	if d.None() && (d.DoseMLPerL != 0 || d.LifeMonths != 0 || d.Product != "") {
		return wrong(string(d.Role), d.Family, "its family, or none alone: without a dose, a life and a product")
	}
	return nil
}

// rounding is what sums of volumes may be off by.
const rounding = chemistry.Litre(1e-9)

// Judge asks chemistry whether the charge may be in this loop, and the record
// whether the loop is ready for it. What others filled is not judged as an act:
// it is what was found.
func (a *Fill) Judge(s Snapshot, today loops.Day) []Reason {
	c, _, err := a.charge(s, today)
	if err != nil || c.Origin != loops.WorkshopFill {
		return nil
	}
	found, err := chemistry.CheckFill(chemistry.FillRequest{
		Contents: c.Contents(), Metals: s.Loop.Metals(), Materials: s.Loop.Materials, WithinReach: s.Loop.WithinReach(), Loop: s.filled(c),
	})
	if err != nil {
		return nil // Check has said so
	}
	reasons := slices.Concat(found, s.readyFor(c, a.on(today)), s.builtAs())
	byHand := a.Charge.Mass != nil || a.ByVolume != nil
	if left := s.remained(a.on(today)); left > 0 && byHand && c.Fluid.IsGlycol() && c.MassKnown.How != loops.Measured {
		reasons = append(reasons, byRecord("not-counted", chemistry.Care, left.String()+" stayed in the loop when it was drained; the strength that was said does not count it.",
			"Name what was poured, such as pg:95%=200ml and water=280ml, or read the strength after it has run."))
	}
	return reasons
}

// filled is what the loop asks of a charge.
func (s Snapshot) filled(c loops.Charge) *chemistry.FilledLoop {
	l := s.Loop
	filled := &chemistry.FilledLoop{
		Sealed: l.Sealed, Holds: l.Volume, HoldsUncertainty: l.VolumeUncertainty, Filled: c.Volume, NoFrost: l.NoFrost,
		MassUncertainty: c.MassUncertainty, Hottest: l.Hottest, MetalsKnown: len(l.Wetted) > 0,
	}
	if wall, ok := l.Wall(); ok {
		filled.Wall = &wall
	}
	return filled
}

// readyFor says what of the old charge speaks against a new one.
func (s Snapshot) readyFor(c loops.Charge, on loops.Day) []Reason {
	state := s.On(on)
	const way = "Drain it, rinse it with water until it runs clear, and record both."
	var reasons []Reason
	stop := func(rule, text string) {
		reasons = append(reasons, byRecord(rule, chemistry.Stop, text, way))
	}
	after := slices.Concat(s.until(on), []loops.Entry{{ID: s.Loop.LastEntry + 1, Kind: loops.KindFill, Day: on, Fill: &loops.Fill{Charge: c}}})
	tainted := loops.Fold(after).Contaminated
	switch {
	case state.Contaminated != nil && tainted != nil:
		stop("contaminated", fmt.Sprintf("the loop is contaminated (%s, since %s); it has to be drained and rinsed before it is filled.", state.Contaminated, state.Contaminated.Day.Long()))
	case state.Charge != nil && state.Charge.Fluid != c.Fluid:
		stop("not-drained", "the loop is on record as full of "+inWords(*state.Charge)+".")
	case tainted != nil:
		stop("not-rinsed", "what was left after draining spoils the new charge: "+tainted.String()+".")
	case state.Charge != nil:
		reasons = append(reasons, byRecord("not-drained", chemistry.Care, "the loop is on record as full; the strength is right only if it was drained first.",
			"Record the drain."))
	}
	reasons = append(reasons, leftBehind(state, c)...)
	if !state.Leaking.IsZero() {
		reasons = append(reasons, byRecord("leaking", chemistry.Care, "a leak check ended wet on "+state.Leaking.Long()+" and none has been dry since.",
			"Repair it before you fill it, and run the leak check again."))
	}
	return reasons
}

// leftBehind says what of an old charge and of a cleaning is still in the loop,
// and what of it must not meet the new charge.
func leftBehind(state loops.State, c loops.Charge) []Reason {
	var left loops.Remains
	switch {
	case state.Charge != nil:
		left = loops.Remains{Fluid: state.Charge.Fluid, Additives: state.Charge.Additives}
	case state.Remains != nil && !state.Remains.Rinsed:
		left = *state.Remains
	case len(state.Agents) == 0:
		return nil
	}
	reasons := chemistry.Unrinsed(left.Contents(), state.Agents, c.Contents())
	var names []string
	for _, d := range left.Additives {
		if !d.None() && !slices.ContainsFunc(c.Additives, func(n loops.Dosed) bool { return n.Role == d.Role && n.Family == d.Family && d.Family != "" }) {
			names = append(names, d.String())
		}
	}
	for _, agent := range state.Agents {
		names = append(names, string(agent))
	}
	if len(names) == 0 && state.Remains != nil && left.Fluid == "" && !state.Remains.Rinsed {
		names = []string{"a liquid that nobody knows"}
	}
	if len(names) > 0 {
		reasons = append(reasons, byRecord("left-behind", chemistry.Care, "no rinse is on record, so some of it is still in the loop: "+strings.Join(names, ", ")+".",
			"Rinse it with water until it runs clear, and record that."))
	}
	return reasons
}

// inWords names a charge in the middle of a sentence.
func inWords(c loops.Charge) string {
	if c.Fluid == "" {
		return "an unknown liquid"
	}
	return c.Fluid.Name()
}

// Apply starts the charge.
func (a *Fill) Apply(s Snapshot, today loops.Day) loops.Change {
	c, poured, err := a.charge(s, today)
	if err != nil {
		return loops.Change{}
	}
	return a.writes(loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: c, Poured: poured}}, today)
}
