// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"math"
	"slices"

	"fillmark/chemistry"
)

// Weighing is a loop, or the machine it is in, on the scale. It needs no
// opening, so it shows the loss of a sealed loop.
type Weighing struct {
	Stage  WeighingStage      `json:"stage"`
	Weight chemistry.Kilogram `json:"weight_kg"`
	// Uncertainty is that of the scale, k = 2; zero where it was not stated.
	Uncertainty chemistry.Kilogram `json:"weight_uncertainty_kg,omitempty"`
	// What stood on the scale: "cooler with its bracket". Only weighings of the
	// same thing are compared; empty is the cooler as the workshop always
	// weighs it.
	What string `json:"what,omitempty"`
}

// WeighingStage is how full the loop was when it was weighed.
type WeighingStage string

// The stages of a weighing.
const (
	WeighedDry     WeighingStage = "dry"     // blown dry, or new and never filled
	WeighedDrained WeighingStage = "drained" // what runs out has run out
	WeighedFilled  WeighingStage = "filled"  // after filling or topping up
	WeighedLater   WeighingStage = "later"   // in service, to see what was lost
)

// WeighingStages lists the stages in the order of the work.
func WeighingStages() []WeighingStage {
	return []WeighingStage{WeighedDry, WeighedDrained, WeighedFilled, WeighedLater}
}

func (x *Weighing) validate() error {
	var p problems
	p.add(oneOf("stage", x.Stage, WeighingStages()...))
	p.add(inRange("weight", x.Weight, 0.01, 5000, "kg"))
	p.add(inRange("weight uncertainty", x.Uncertainty, 0, x.Weight, "kg, not more than the weight"))
	p.add(checkText("what", x.What, 100, false))
	return p.err()
}

// Weighed is one weighing as it counts, with its day.
type Weighed struct {
	Entry EntryID `json:"entry"`
	Day   Day     `json:"day"`
	Weighing
}

// WeighingsOf lists the weighings that stand in a history by day, those of an
// inspection among them. It is pure, and the order of recording does not
// matter between days.
func WeighingsOf(history []Entry) []Weighed {
	var all []Weighed
	for _, e := range Standing(history) {
		switch {
		case e.Kind == KindWeighing:
			all = append(all, Weighed{e.ID, e.Day, *e.Weighing})
		case e.Kind == KindInspection && e.Inspection.Weight != nil:
			all = append(all, Weighed{e.ID, e.Day, Weighing{Stage: WeighedLater, Weight: *e.Inspection.Weight}})
		}
	}
	return all
}

// WeighedLoss is what a loop lost between two weighings with no wet work
// between them.
type WeighedLoss struct {
	From Day `json:"from"`
	To   Day `json:"to"`
	// Lost is positive where the loop got lighter; its uncertainty is k = 2,
	// from those stated of the two weighings.
	Lost        chemistry.Kilogram `json:"lost_kg"`
	Uncertainty chemistry.Kilogram `json:"lost_uncertainty_kg"`
	// PerYear and its uncertainty are Lost over the time between, in kg a year.
	PerYear            chemistry.Kilogram `json:"lost_kg_per_year"`
	PerYearUncertainty chemistry.Kilogram `json:"lost_kg_per_year_uncertainty"`
	Weighings          int                `json:"weighings"` // from the first to the last
}

// daysPerYear is twelve of the months that lives are counted in, 30.4375 days.
const daysPerYear = 365.25

// WeighedLossOf compares the last weighing of a loop with the first one since
// liquid was last put in or taken out: the same thing on the scale, on
// different days. ok is false while there are no two such weighings.
func WeighedLossOf(history []Entry) (loss WeighedLoss, ok bool) {
	series := ComparableWeighings(history)
	if len(series) == 0 {
		return loss, false
	}
	first, last := series[0], series[len(series)-1]
	days := last.Day.Sub(first.Day)
	if days < 1 {
		return loss, false
	}
	years := float64(days) / daysPerYear
	lost, u := first.Weight-last.Weight, quadrature(first.Uncertainty, last.Uncertainty)
	return WeighedLoss{
		From: first.Day, To: last.Day, Lost: lost, Uncertainty: u,
		PerYear: lost / chemistry.Kilogram(years), PerYearUncertainty: u / chemistry.Kilogram(years),
		Weighings: len(series),
	}, true
}

// ComparableWeighings are the last of the rows of [WeighingRows]: those since the
// content last changed by hand.
func ComparableWeighings(history []Entry) []Weighed {
	rows := WeighingRows(history)
	return rows[len(rows)-1]
}

// WeighingRows are the weighings of the full loop with its present charge, of the
// same thing on the scale as the last one, by day: a row for each time that its
// content was not changed by hand, in which a loss shows. There is at least one
// row, and any may be empty. On the day of the work itself a "filled" weighing
// counts as taken after it, whichever was recorded first.
func WeighingRows(history []Entry) [][]Weighed {
	var works []Entry
	began := 0
	for _, e := range Standing(history) {
		switch e.Kind {
		case KindFill, KindSwap, KindTopUp, KindDose, KindDrain, KindOpening, KindFlush, KindClean:
			works = append(works, e)
			if e.BeginsCharge() {
				began = len(works)
			}
		}
	}
	full := slices.DeleteFunc(WeighingsOf(history), func(w Weighed) bool { return w.Stage == WeighedDry || w.Stage == WeighedDrained })
	rows := make([][]Weighed, len(works)+1)
	for _, w := range full {
		if w.What != full[len(full)-1].What {
			continue
		}
		n := 0
		for n < len(works) && (works[n].Day.Before(w.Day) || works[n].Day == w.Day && (w.Stage == WeighedFilled || works[n].ID < w.Entry)) {
			n++
		}
		rows[n] = append(rows[n], w)
	}
	return rows[began:]
}

// Weights are the weighings that tell a charge: the last of each stage of one
// thing. A nil one was not taken.
type Weights struct {
	Dry     *Weighed `json:"dry,omitempty"`
	Drained *Weighed `json:"drained,omitempty"`
	Filled  *Weighed `json:"filled,omitempty"`
}

// WeightsOf picks the weights of what was weighed last in a history.
func WeightsOf(history []Entry) Weights {
	all := WeighingsOf(history)
	var w Weights
	if len(all) == 0 {
		return w
	}
	what := all[len(all)-1].What
	for _, x := range all {
		if x.What != what {
			continue
		}
		switch x.Stage {
		case WeighedDry:
			w.Dry = &x
		case WeighedDrained:
			w.Drained = &x
		case WeighedFilled:
			w.Filled = &x
		}
	}
	return w
}

// ByWeight is a charge as the scale tells it. Uncertainties are k = 2.
type ByWeight struct {
	// Left is what stays in after draining; nil without a dry and a drained
	// weight.
	Left *Amount `json:"left,omitempty"`
	// Added is what went in on top of that; nil without a drained weight.
	Added *Amount `json:"added,omitempty"`
	// Charge is all the liquid in the filled loop; nil without a dry weight.
	Charge *Amount `json:"charge,omitempty"`
}

// Amount is some liquid by mass and by volume.
type Amount struct {
	Mass              chemistry.Kilogram `json:"mass_kg"`
	MassUncertainty   chemistry.Kilogram `json:"mass_uncertainty_kg"`
	Volume            chemistry.Litre    `json:"volume_l"`
	VolumeUncertainty chemistry.Litre    `json:"volume_uncertainty_l"`
}

// Amounts turns the weights into amounts of a liquid with that density at the
// bench and its uncertainty (k = 2), both in kg/l. What was left from before
// is worked out at the same density. Weights that do not rise from dry over
// drained to filled are an [InvalidError].
func (w Weights) Amounts(density, uncertainty chemistry.KilogramPerLitre) (ByWeight, error) {
	if err := inRange("density", density, 0.5, 2, "kg/l"); err != nil {
		return ByWeight{}, err
	}
	var out ByWeight
	var p problems
	difference := func(lighter, heavier *Weighed) *Amount {
		if lighter == nil || heavier == nil {
			return nil
		}
		if lighter.Weight > heavier.Weight {
			p.add(invalid("weight", heavier.Weight, fmt.Sprintf("not less than %s, %s", lighter.Stage, lighter.Weight)))
			return nil
		}
		mass := heavier.Weight - lighter.Weight
		u := quadrature(lighter.Uncertainty, heavier.Uncertainty)
		volume := density.Volume(mass)
		// V = m/ρ, first order (GUM): relative parts add in quadrature.
		uv := math.Hypot(float64(density.Volume(u)), float64(volume)*float64(uncertainty/density))
		return &Amount{mass, u, volume, chemistry.Litre(uv)}
	}
	out.Left = difference(w.Dry, w.Drained)
	out.Added = difference(w.Drained, w.Filled)
	out.Charge = difference(w.Dry, w.Filled)
	return out, p.err()
}

func quadrature(a, b chemistry.Kilogram) chemistry.Kilogram {
	return chemistry.Kilogram(math.Hypot(float64(a), float64(b)))
}
