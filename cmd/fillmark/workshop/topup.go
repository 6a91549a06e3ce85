// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// TopUpQuestion asks whether and what to add to a loop: one on record, by its
// tag, or one described here. What is given beside a tag was just measured or
// read off a label and takes the place of what is on record; metals and
// dangers are added to those on record. Only the fluid cannot be another than
// the one on record.
type TopUpQuestion struct {
	Tag             string                  `json:"tag,omitempty"`
	Fluid           chemistry.Fluid         `json:"fluid,omitempty"`
	Mass            *chemistry.MassFraction `json:"mass_fraction,omitempty"`
	MassUncertainty chemistry.MassFraction  `json:"mass_fraction_uncertainty,omitempty"`
	Inhibitor       chemistry.Inhibitor     `json:"inhibitor,omitempty"`
	Biocide         chemistry.Biocide       `json:"biocide,omitempty"`
	Metals          []chemistry.Metal       `json:"metals,omitempty"`
	Materials       []chemistry.Material    `json:"materials,omitempty"`
	// Holds is the liquid in the loop now; with a tag it is what the loop
	// holds less the room.
	Holds            *chemistry.Litre        `json:"holds_l,omitempty"`
	HoldsUncertainty chemistry.Litre         `json:"holds_uncertainty_l,omitempty"`
	Room             *chemistry.Litre        `json:"room_l,omitempty"`
	Sealed           bool                    `json:"sealed,omitempty"`
	At               *chemistry.Celsius      `json:"at_c,omitempty"`
	Hottest          *chemistry.Celsius      `json:"hottest_c,omitempty"`
	Protect          *chemistry.Celsius      `json:"protect_c,omitempty"`
	Margin           *chemistry.CelsiusDelta `json:"margin_k,omitempty"`
	// With lists the liquids at hand as they are typed: "concentrate:95%".
	With []string           `json:"with,omitempty"`
	Step chemistry.Kilogram `json:"step_kg,omitempty"`
	// Product is a bought product at hand that goes by the lines of its own label.
	Product string                `json:"product,omitempty"`
	Label   []chemistry.LabelPair `json:"label,omitempty"`
	// Hand lists liquids at hand as chemistry knows them, such as containers of
	// the shelf; they come after those of With.
	Hand []Hand `json:"-"`
	// FilledMass is the strength at the last fill, PH the last one measured;
	// nil where they are not known.
	FilledMass *chemistry.MassFraction `json:"filled_mass_fraction,omitempty"`
	PH         *float64                `json:"ph,omitempty"`
	// WithinReach tells that animals or children get at the machine.
	WithinReach bool `json:"animals_or_children_reach,omitempty"`
	// Basis is in what the strengths here and in With are: "mass", which empty
	// stands for, or "volume" for volume fractions before mixing at 20 °C.
	Basis string `json:"basis,omitempty"`
}

// TopUpAnswer is the verdict, why, and what to do.
type TopUpAnswer struct {
	Verdict   chemistry.Verdict   `json:"verdict"`
	Reasons   []chemistry.Reason  `json:"reasons"`
	Fluid     chemistry.Fluid     `json:"fluid"`
	Before    *Strength           `json:"before"` // null where the strength is unknown
	After     *Strength           `json:"after"`
	Steps     []Step              `json:"steps"`
	Expansion float64             `json:"expansion_ml"`
	Cautions  []chemistry.Caution `json:"cautions"`
	Sources   []string            `json:"sources"`
}

// CheckTopUp answers a question about a loop on record.
func (w *Workshop) CheckTopUp(q TopUpQuestion) (TopUpAnswer, error) {
	tag, err := loops.ParseTag(q.Tag)
	if err != nil {
		return TopUpAnswer{}, err
	}
	file, err := w.FileAtShelf(tag)
	if err != nil {
		return TopUpAnswer{}, err
	}
	return file.CheckTopUp(q)
}

// CheckTopUp answers a question about the loop, of which the shelf was read too.
func (f File) CheckTopUp(q TopUpQuestion) (TopUpAnswer, error) {
	loop := f.Loop
	if loop.State.Charge == nil {
		return TopUpAnswer{}, &loops.InvalidError{Field: "tag", Value: q.Tag, Reason: "a loop with a charge; this one is empty: fill it"}
	}
	if fluid := loop.State.Charge.Fluid; fluid != "" && q.Fluid != "" && q.Fluid != fluid {
		return TopUpAnswer{}, &loops.InvalidError{Field: "fluid", Value: string(q.Fluid), Reason: "this loop is on record with " + fluid.Name() + "; leave it out, or put the record right first"}
	}
	q, err := f.fromShelf(q)
	if err != nil {
		return TopUpAnswer{}, err
	}
	return q.CheckOf(loop, loops.SinceFillOf(f.History))
}

// CheckOf answers a question about a loop that somebody has read already, with
// what happened since its fill.
func (q TopUpQuestion) CheckOf(loop loops.Loop, since loops.SinceFill) (TopUpAnswer, error) {
	charge := *loop.State.Charge
	on := loop.TopUpRequest(charge, since)
	if q.Room == nil && loop.State.Missing > 0 {
		q.Room = &loop.State.Missing
	}
	full := chemistry.Litre(0)
	switch {
	case q.Holds != nil || q.Room == nil:
	case loop.Volume > 0:
		holds := loop.Volume - *q.Room
		q.Holds, q.HoldsUncertainty, full = &holds, loop.VolumeUncertainty, loop.Volume
	case loop.State.Held() > 0: // nobody measured the loop: what went in is in it
		q.Holds = new(loop.State.Held())
	}
	q.Hand = slices.Clone(q.Hand)
	for i, h := range q.Hand {
		if slices.Contains(since.Formulated, h.Container) {
			q.Hand[i].Inhibitor = cmp.Or(q.Inhibitor, on.Inhibitor)
		}
	}
	return q.check(on, full)
}

// fromShelf takes the containers that are named by their numbers from the
// shelf, each with its own label.
func (f File) fromShelf(q TopUpQuestion) (TopUpQuestion, error) {
	var with []string
	for _, text := range q.With {
		id, err := loops.ParseContainer(text)
		if err != nil {
			with = append(with, text)
			continue
		}
		c, err := f.Container(id)
		if err != nil {
			return q, err
		}
		liquid, ok := AtHand(c)
		if !ok {
			return q, &loops.InvalidError{Field: "with", Value: text, Reason: "a container with water, or with a coolant whose strength or label is on record"}
		}
		q.Hand = append(q.Hand, liquid)
	}
	q.With = with
	return q, nil
}

// Container is one of the shelf that was read with the loop, or an error that matches
// loops.ErrNotFound.
func (f File) Container(id loops.ContainerID) (loops.Container, error) {
	for _, c := range f.Shelf {
		if c.ID == id {
			return c, nil
		}
	}
	return loops.Container{}, fmt.Errorf("container %d: %w", id, loops.ErrNotFound)
}

// Bottle is the product that a charge was filled from, by its own label; nil
// where it came from none on the shelf, from several, or from one of which no
// label is on record.
func (f File) Bottle() (*chemistry.Product, error) {
	var poured []loops.Pour
	for _, e := range loops.SinceCharge(f.History) {
		if e.Kind == loops.KindFill {
			poured = e.Fill.Poured
		}
	}
	if len(poured) != 1 || poured[0].Container == 0 {
		return nil, nil
	}
	c, err := f.Container(poured[0].Container)
	return c.ByLabel(), err
}

// Hand is a liquid at hand, and the container that it is in; zero for none.
type Hand struct {
	chemistry.Liquid
	Container loops.ContainerID
}

// AtHand is what a container offers to a top-up; false where nobody knows what
// it is.
func AtHand(c loops.Container) (Hand, bool) {
	liquid := Hand{chemistry.Liquid{Name: fmt.Sprintf("No. %d %s", c.ID, c.Product), Fluid: c.Fluid, Available: c.Left}, c.ID}
	if c.Mass == nil {
		liquid.Product = c.ByLabel()
	}
	mass, off := c.Strength()
	if mass != nil {
		liquid.Mass, liquid.MassUncertainty = *mass, off
	}
	return liquid, c.Fluid != "" && (mass != nil || !c.Fluid.IsGlycol())
}

// leastRoom is the least that is read off a vessel; less is a figure in another
// unit (common practice, no source).
const leastRoom chemistry.Litre = 0.0005

// CheckRoom refuses what cannot be the room up to the mark, in litres: more than
// none and less than is read off a vessel, or all that the loop holds full, 0 where
// nobody knows that. The error is a [loops.InvalidError] of "room".
func CheckRoom(room, full chemistry.Litre) error {
	switch {
	case room > 0 && room < leastRoom:
		return &loops.InvalidError{Field: "room", Value: room.String(), Reason: fmt.Sprintf("%s at least, or none: is the unit right? 0.04 l are 40 ml", leastRoom)}
	case full > 0 && room >= full:
		return &loops.InvalidError{Field: "room", Value: room.String(), Reason: fmt.Sprintf("less than the loop holds full, %s; where it holds more, its record is put right first", full)}
	}
	return nil
}

// byMass takes the strengths of the loop to mass fractions.
func (q *TopUpQuestion) byMass(fluid chemistry.Fluid) error {
	if !slices.Contains([]string{"", "mass", "volume"}, q.Basis) {
		return wrong("basis", q.Basis, "mass or volume")
	}
	for _, x := range []**chemistry.MassFraction{&q.Mass, &q.FilledMass} {
		if *x == nil {
			continue
		}
		mass, err := MassOf(fluid, q.Basis, **x)
		if err != nil {
			return err
		}
		*x = &mass
	}
	return nil
}

// over puts what was asked over what is on record.
func (q TopUpQuestion) over(r chemistry.TopUpRequest) chemistry.TopUpRequest {
	r.Fluid = cmp.Or(r.Fluid, q.Fluid)
	if q.Mass != nil {
		r.Mass, r.MassUncertainty = q.Mass, q.MassUncertainty
	}
	r.Inhibitor, r.Biocide = cmp.Or(q.Inhibitor, r.Inhibitor), cmp.Or(q.Biocide, r.Biocide)
	r.Metals, r.Materials = slices.Concat(q.Metals, r.Metals), slices.Concat(q.Materials, r.Materials)
	r.FilledMass, r.PH = cmp.Or(q.FilledMass, r.FilledMass), cmp.Or(q.PH, r.PH)
	r.Sealed, r.WithinReach, r.NoFrost = q.Sealed || r.Sealed, q.WithinReach || r.WithinReach, r.NoFrost && q.Protect == nil
	r.Hottest, r.Protect = cmp.Or(q.Hottest, r.Hottest), cmp.Or(q.Protect, r.Protect)
	r.HoldsUncertainty, r.At, r.Margin, r.Step = q.HoldsUncertainty, q.At, q.Margin, q.Step
	return r
}

// Check answers the question from what it holds, without the register.
func (q TopUpQuestion) Check() (TopUpAnswer, error) { return q.check(chemistry.TopUpRequest{}, 0) }

// check answers it beside what is on record; full is what the loop there holds,
// zero where nobody measured it.
func (q TopUpQuestion) check(on chemistry.TopUpRequest, full chemistry.Litre) (TopUpAnswer, error) {
	missing := func(field, right string) error {
		return &loops.InvalidError{Field: field, Reason: right}
	}
	// Of a loop on record the room says what it holds, so the room is asked for first.
	if q.Room == nil {
		return TopUpAnswer{}, missing("room", "how much is missing up to the mark, such as 60ml")
	}
	if err := CheckRoom(*q.Room, full); err != nil {
		return TopUpAnswer{}, err
	}
	if q.Holds == nil {
		return TopUpAnswer{}, missing("holds", "how much liquid is in the loop now, such as 520ml")
	}
	if err := q.byMass(cmp.Or(on.Fluid, q.Fluid)); err != nil {
		return TopUpAnswer{}, err
	}
	request := q.over(on)
	request.Holds, request.Room = *q.Holds, *q.Room
	for _, text := range q.With {
		parse := chemistry.ParseLiquid
		if q.Basis == "volume" {
			parse = chemistry.ParseLiquidByVolume
		}
		liquid, err := parse(text, request.Fluid)
		if err != nil {
			return TopUpAnswer{}, chemistry.InField(err, "with")
		}
		request.With = append(request.With, liquid)
	}
	if q.Product != "" || len(q.Label) > 0 {
		name := cmp.Or(q.Product, "the product")
		request.With = append(request.With, chemistry.Liquid{Name: name, Product: &chemistry.Product{Name: name, Base: request.Fluid, Pairs: q.Label}})
	}
	for _, h := range q.Hand {
		request.With = append(request.With, h.Liquid)
	}
	verdict, err := chemistry.CheckTopUp(request)
	if err != nil {
		return TopUpAnswer{}, err
	}
	// Whatever speaks against any top-up does so with nothing at hand; but a go
	// to nothing would be taken for one to whatever is poured then.
	if len(request.With) == 0 && request.Room > 0 && verdict.Verdict != chemistry.Stop {
		return TopUpAnswer{}, missing("with", "what is at hand to fill it up, such as water or premix:35%")
	}
	answer := TopUpAnswer{
		Verdict: verdict.Verdict, Reasons: chemistry.WorstFirst(verdict.Reasons), Fluid: request.Fluid, Steps: StepsOf(verdict.Steps),
		Expansion: verdict.Expansion.Millilitres(), Cautions: verdict.Cautions, Sources: verdict.Sources,
	}
	if request.Mass != nil && request.Fluid != "" {
		before, after := StrengthOf(verdict.Before), StrengthOf(verdict.After)
		answer.Before, answer.After = &before, &after
	}
	return answer, nil
}
