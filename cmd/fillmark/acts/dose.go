// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Dose gives an additive by its label.
type Dose struct {
	Doing
	loops.Dose
	// InsteadOf says whether it takes the place of another product of its family
	// in this charge; nil where nobody said.
	InsteadOf *bool
	// Poured is how much of it, or a container and how much came out of it.
	Poured loops.Pour
}

func doseAct() Definition {
	return define(Definition{
		Name: "dose", Done: "Dosed", Kind: loops.KindDose,
		Short: "Give an inhibitor or a biocide by its label",
		Long: `Fillmark never suggests a dose: the label and the safety data sheet decide. What
the label says is recorded and checked. The same additive again is renewed. Another
product of a family that is in the charge is asked about: it takes the place of
the old one, or both stand. Any other stands beside what was given before, and
all are checked against each other.`,
		Examples: []string{`7K3QXW --role biocide --family isothiazolinone --product "Clear B" --label-dose 2 --life 12 --poured 9=1ml`},
	}, fields[Dose]{
		one(Field{Name: "role", Label: "", Help: "what it does in the coolant", Needed: true}, choice("ROLE", loops.AdditiveRoles()), func(a *Dose) *loops.AdditiveRole { return &a.Role }),
		one(Field{Name: "family", Also: []string{"inhibitor family", "biocide family"}, Label: "", Help: "its family, such as azole or isothiazolinone; unknown where the label does not say", Unknown: true}, words(), func(a *Dose) *string { return &a.Additive.Family }),
		one(Field{Name: "product", Also: []string{"inhibitor product", "biocide product"}, Label: "product", Help: "as its label says"}, words(), func(a *Dose) *string { return &a.Additive.Product }),
		one(Field{Name: "label-dose", Also: []string{"inhibitor dose", "biocide dose"}, Label: "label's dose", Help: "the label's dose, in product per litre of coolant", Example: "2ml/l"}, dose(), func(a *Dose) *float64 { return &a.Additive.DoseMLPerL }),
		one(Field{Name: "life", Also: []string{"inhibitor life", "biocide life"}, Label: "label gives it", Help: "months that its label declares", Example: "12"}, whole("MONTHS", "months"), func(a *Dose) *int { return &a.Additive.LifeMonths }),
		may(Field{Name: "instead", Label: "instead of the old one", Help: "yes where it takes the place of another product of its family, no where both stand"}, truth(), func(a *Dose) **bool { return &a.InsteadOf }),
		one(Field{Name: "poured", Also: []string{"volume", "container"}, Label: "poured", Help: "how much of it, or a container and how much comes out of it", Example: "1ml or 9=1ml"}, pour(), func(a *Dose) *loops.Pour { return &a.Poured }),
	}, func(e loops.Entry) Dose {
		a := Dose{Dose: *e.Dose, Poured: loops.Pour{Container: e.Dose.Container, Volume: e.Dose.Volume}}
		if a.Instead {
			a.InsteadOf = &a.Instead
		}
		return a
	})
}

// Containers is the one that it comes from.
func (a *Dose) Containers() []loops.ContainerID { return drawnFrom([]loops.Pour{a.Poured}) }

// Check refuses a family that chemistry does not know, and a loop without a
// charge.
func (a *Dose) Check(s Snapshot, today loops.Day) error {
	if err := s.returned(a.on(today), loops.KindDose); err != nil {
		return err
	}
	if a.Poured.Liquid != "" {
		return wrong("poured", printPour(a.Poured), "how much of the additive, such as 1ml, or 9=1ml from container 9")
	}
	switch family, err := a.Role.Family(a.Additive.Family); {
	case err != nil:
		return inField(err, "family", a.Additive.Family)
	case family == string(chemistry.NoBiocide):
		return wrong("family", family, "what was given; that there is none is said with the fill")
	}
	if err := s.charged(a.on(today)); err != nil {
		return err
	}
	if rivals := s.On(a.on(today)).Charge.Rivals(a.dosed()); len(rivals) > 0 && a.InsteadOf == nil {
		return wrong("instead", "", "yes where it takes the place of "+rivals[0].String()+", no where both are in the charge")
	}
	return nil
}

// dosed is the additive with its family as chemistry names it.
func (a *Dose) dosed() loops.Dosed {
	d := loops.Dosed{Role: a.Role, Additive: a.Additive}
	if family, err := a.Role.Family(a.Additive.Family); err == nil {
		d.Family = family
	}
	return d
}

// Judge asks whether the additive may be in this charge and with these metals,
// and whether it is as much as its own label says.
func (a *Dose) Judge(s Snapshot, today loops.Day) []Reason {
	on := a.on(today)
	state := s.On(on)
	if state.Charge == nil {
		return nil
	}
	after := s.after(a, today)
	if after.Charge == nil {
		return nil
	}
	found, err := chemistry.CheckFill(chemistry.FillRequest{
		Contents: after.Charge.Contents(), PH: loops.SinceFillOf(s.History).PH, Metals: s.Loop.Metals(), Materials: s.Loop.Materials, WithinReach: s.Loop.WithinReach(),
	})
	if err != nil {
		return nil
	}
	return append(found, a.againstLabel(state.Held())...)
}

// againstLabel compares what is poured with what the label says for the coolant
// that is in the loop.
func (a *Dose) againstLabel(holds chemistry.Litre) []Reason {
	const farOff = 0.25 // common practice, no source
	asked := chemistry.Litre(a.Additive.DoseMLPerL/1000) * holds
	if asked == 0 || a.Poured.Volume == 0 {
		return nil
	}
	share := float64(a.Poured.Volume / asked)
	if share >= 1-farOff && share <= 1+farOff {
		return nil
	}
	return []Reason{{
		Rule: "label-dose", Verdict: chemistry.Care, Source: "the label", Grade: chemistry.Maker,
		Text: fmt.Sprintf("%s is poured; by its label %s of coolant takes %s.", a.Poured.Volume, holds, asked),
		Way:  "Read the label again; too much can hurt people and loop, too little does nothing.",
	}}
}

// after is the state once the act is on record.
func (s Snapshot) after(a Act, today loops.Day) loops.State {
	return loops.Fold(s.with(a, today).History)
}

// Apply gives it.
func (a *Dose) Apply(_ Snapshot, today loops.Day) loops.Change {
	dose := a.Dose
	dose.Container, dose.Volume = a.Poured.Container, a.Poured.Volume
	dose.Additive, dose.Instead = a.dosed().Additive, a.InsteadOf != nil && *a.InsteadOf
	return a.writes(loops.Entry{Kind: loops.KindDose, Dose: &dose}, today)
}
