// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// mixAnswer says what to pour and whether it may be in this loop.
type mixAnswer struct {
	Steps   []workshop.Step
	Parts   []chemistry.Part
	Result  *workshop.Strength // in the loop, with what was left there; nil for water
	Total   chemistry.Litre
	Verdict chemistry.Verdict
	Reasons []chemistry.Reason
	Sources []string
}

// mixNames are the fields that ask for a mix.
func mixNames() []string {
	return []string{
		"mix", "fluid", "want", "wall", "left", "left_mass", "make", "concentrate", "bottle", "premix", "bench",
		"inhibitor", "inhibitor_dose", "biocide", "biocide_dose",
	}
}

func cutContainer(value string) (string, bool) { return strings.CutPrefix(value, containerChoice) }

// offerMix puts into the form what the register knows: the coldest wall, what
// stayed in after draining, and how much the loop then takes.
func offerMix(f *form, file workshop.File, visit []loops.Entry) {
	loop := file.Loop
	if wall, ok := loop.Wall(); ok {
		f.offer("wall", quantityIn(float64(wall)))
	}
	f.offer("bench", "20")
	if drain := lastDrain(visit); drain != nil {
		f.offer("left", quantityIn(drain.Left.Millilitres()))
		if loop.Volume == 0 && drain.Out > 0 { // what came out goes in again
			f.offer("make", quantityIn(drain.Out.Millilitres()))
		}
	}
	if charge := lastCharge(file); charge != nil && charge.Fluid != "" {
		f.offer("fluid", string(charge.Fluid))
	}
}

// lastDrain is the last one of this cooler in a visit; nil where there was none.
func lastDrain(visit []loops.Entry) *loops.Drain {
	var last *loops.Drain
	for _, e := range visit {
		switch e.Kind {
		case loops.KindDrain:
			last = e.Drain
		case loops.KindSwap:
			last = nil
		}
	}
	return last
}

// lastCharge is what is in the loop, or was before it was drained.
func lastCharge(file workshop.File) *loops.Charge {
	var last *loops.Charge
	for _, s := range loops.States(file.History) {
		last = cmp.Or(s.Charge, last)
	}
	return last
}

// mixFor works out the mix that the form asks for, or marks what is wrong
// with it and returns nil; last is what was in the loop before, nil where
// nothing is on record, and bottle the container that was chosen, or nil.
func mixFor(f *form, loop loops.Loop, last *loops.Charge, bottle *loops.Container) *mixAnswer {
	request, ok := mixRequest(f, loop, bottle)
	if !ok || blameLeft(f, request, loop, last) {
		return nil
	}
	mix, err := chemistry.Mix(request)
	if err != nil {
		blameMix(f, err)
		return nil
	}
	answer := &mixAnswer{Steps: workshop.StepsOf(mix.Steps), Parts: mix.Parts, Total: mix.Total.Volume, Sources: mix.Sources}
	if request.Fluid.IsGlycol() {
		answer.Result = new(workshop.StrengthOf(mix.Result))
	}
	contents := chemistry.Contents{
		Fluid: request.Fluid, Mass: &mix.Result.Mass, Inhibitor: chemistry.Inhibitor(f.text("inhibitor")), Biocide: chemistry.Biocide(f.text("biocide")),
	}
	reasons, err := chemistry.CheckFill(chemistry.FillRequest{Contents: contents, Metals: loop.Metals(), Materials: loop.Materials, WithinReach: loop.WithinReach()})
	if err != nil {
		blameMix(f, err)
		return nil
	}
	for _, warning := range mix.Warnings {
		if !slices.ContainsFunc(reasons, func(r chemistry.Reason) bool { return r.Rule == warning.Rule }) {
			reasons = append(reasons, warning)
		}
	}
	answer.Reasons, answer.Verdict = chemistry.WorstFirst(reasons), chemistry.Judge(reasons)
	answer.Steps = withDoses(answer.Steps, dosesFor(f, request.Make))
	return answer
}

// mixRequest reads the form; ok is false where a field is marked.
func mixRequest(f *form, loop loops.Loop, bottle *loops.Container) (r chemistry.MixRequest, ok bool) {
	if bottle != nil && f.text("fluid") == "" { // its label says it
		f.typed.Set("fluid", string(bottle.Fluid))
	}
	fluid, err := chemistry.ParseFluid(f.text("fluid"))
	if err != nil {
		f.blame("fluid", "one of the list")
	}
	r = chemistry.MixRequest{Fluid: fluid, Bench: 20}
	r.Left = read(f, "left", "ml", chemistry.ParseLitre)
	if f.text("left") == "" {
		f.problems["left"] = "what stayed in after draining; 0 if it was blown dry"
	}
	if mass := mayRead(f, "left_mass", "%", chemistry.ParseMassPercent); mass != nil {
		r.LeftMass = *mass
	}
	if amount := mayRead(f, "make", "ml", chemistry.ParseLitre); amount != nil {
		r.Make = *amount
	}
	if bench := mayRead(f, "bench", "C", chemistry.ParseCelsius); bench != nil {
		r.Bench = *bench
	}
	if r.Mass = mayRead(f, "want", "%", chemistry.ParseMassPercent); r.Mass == nil {
		r.Protect = mayRead(f, "wall", "C", chemistry.ParseCelsius)
	}
	for name, strength := range map[string]*chemistry.MassFraction{"concentrate": &r.Concentrate, "premix": &r.Premix} {
		if mass := mayRead(f, name, "%", chemistry.ParseMassPercent); mass != nil {
			*strength = *mass
		}
	}
	takeBottle(f, &r, bottle)
	if fluid.IsGlycol() && r.Mass == nil && r.Protect == nil {
		f.blame("want", "how strong, or how cold its coldest wall gets")
	}
	if fluid.IsGlycol() && r.Concentrate == 0 && r.Premix == 0 && r.Product == nil && bottle == nil {
		f.blame("concentrate", "the glycol in the concentrate or in the premix by its label, such as 95")
	}
	if r.Make == 0 {
		r.Make = loop.Volume - r.Left
		if loop.Sealed {
			r.Make -= r.RoomToExpand(loop.Volume, loop.HottestOrDefault())
		}
		r.Make = max(0, r.Make)
	}
	return r, f.OK()
}

// takeBottle mixes from a bottle on the shelf: by the strength on its record, else
// by its own label.
func takeBottle(f *form, r *chemistry.MixRequest, bottle *loops.Container) {
	if bottle == nil {
		return
	}
	switch product := bottle.ByLabel(); {
	case r.Fluid == "": // marked already
	case bottle.Fluid != r.Fluid:
		f.blame("bottle", "one with "+r.Fluid.Name()+", as chosen above")
	case r.Concentrate != 0 || r.Premix != 0:
		f.blame("bottle", "the bottle or a strength, not both")
	case bottle.Mass == nil && product == nil:
		f.blame("bottle", "one whose strength or label is on record")
	case bottle.Mass == nil:
		r.Product = product
	case *bottle.Mass > chemistry.MaxMassFraction:
		r.Concentrate, r.ConcentrateUncertainty = *bottle.Mass, bottle.MassUncertainty
	default:
		r.Premix, r.PremixUncertainty, r.PremixAvailable = *bottle.Mass, bottle.MassUncertainty, bottle.Left
	}
}

// blameLeft marks what was left in the loop where it must not meet the fluid
// that is wanted, and says how often to rinse.
func blameLeft(f *form, r chemistry.MixRequest, loop loops.Loop, last *loops.Charge) bool {
	if r.Left == 0 || r.LeftMass == 0 || r.Fluid.IsGlycol() && (last == nil || last.Fluid == r.Fluid) {
		return false
	}
	right := "0, after rinsing: the glycol that stayed in must not meet " + r.Fluid.Name()
	if n, share, err := chemistry.Rinses(r.Left, loop.Volume, 0.01); err == nil {
		right += fmt.Sprintf("; after %d rinses with water %.2g\u00a0%% of it is left", n, 100*share)
	}
	f.blame("left_mass", right)
	return true
}

// blameMix marks the field that an impossible mix comes from.
func blameMix(f *form, err error) {
	if infeasible, ok := errors.AsType[*chemistry.InfeasibleError](err); ok {
		f.blame("want", infeasible.Error())
		return
	}
	if rng, ok := errors.AsType[*chemistry.RangeError](err); ok && f.text("want") == "" {
		f.blame("wall", rng.Error())
		return
	}
	fields := map[string]string{"strength": "want", "mass": "want", "protect": "wall", "make": "make", "bench": "bench", "left": "left", "concentrate": "concentrate", "premix": "premix", "product": "bottle"}
	if f.take(err, fields) != nil {
		f.Rest = append(f.Rest, Problem{Field: "mix", Right: err.Error()})
	}
}

// dosesFor is what the labels ask for in the amount.
func dosesFor(f *form, amount chemistry.Litre) []workshop.Step {
	var doses []workshop.Step
	for _, name := range []string{"inhibitor", "biocide"} {
		perLitre := mayRead(f, name+"_dose", "", chemistry.ParseNumber)
		if perLitre == nil || *perLitre <= 0 {
			continue
		}
		label := chemistry.Dose{Name: name, Volume: chemistry.VolumeFraction(*perLitre / 1000)}
		_, volume, err := label.Amount(amount, 0)
		if err != nil {
			f.blame(name+"_dose", "the label's millilitres of product per litre of coolant, such as 10")
			continue
		}
		doses = append(doses, workshop.Step{Do: "add", What: "the " + name + ", as its label asks", VolumeML: volume.Millilitres()})
	}
	return doses
}

// withDoses puts the doses behind the step that says how additives go in.
func withDoses(steps, doses []workshop.Step) []workshop.Step {
	for i, step := range steps {
		if step.Do == "add" {
			return slices.Insert(steps, i+1, doses...)
		}
	}
	return append(steps, doses...)
}
