// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// TopUp adds liquid to a charge.
type TopUp struct {
	Doing
	loops.TopUp
}

func topUpAct() Definition {
	return define(Definition{
		Name: "poured", Done: "Topped up", Kind: loops.KindTopUp,
		Short: "Record a top-up: what is poured; the top-up check says beforehand what to pour",
		Examples: []string{
			"7K3QXW --poured water=40ml --poured pg:95%=10ml",
			`7K3QXW --drained 60ml --went "drum 2" --poured pg:95%=80ml`,
		},
	}, fields[TopUp]{
		many(Field{Name: "poured", Also: []string{"liquid"}, Label: "poured", Help: "what goes in, or a container and how much comes out of it; repeat", Example: "water=40ml or 3=40ml", Needed: true}, pour(), func(a *TopUp) *[]loops.Pour { return &a.Poured }),
		one(Field{Name: "drained", Label: "taken out first", Help: "what is taken out before; it goes into the used-fluid log", Example: "60ml"}, volume(), func(a *TopUp) *chemistry.Litre { return &a.Drained }),
		one(Field{Name: "hazard", Label: "in it", Help: "what is in what was taken out"}, words(), func(a *TopUp) *string { return &a.Hazard }),
		one(Field{Name: "went", Also: []string{"disposal"}, Label: "used liquid", Help: "where that went or is kept"}, words(), func(a *TopUp) *string { return &a.Disposal }),
		one(Field{Name: "gap", Also: []string{"missing"}, Label: "still below the fill mark by", Help: "what is still missing to the fill mark afterwards", Example: "5ml"}, volume(), func(a *TopUp) *chemistry.Litre { return &a.Missing }),
	}, func(e loops.Entry) TopUp { return TopUp{TopUp: *e.TopUp} })
}

// Containers are those that are poured from.
func (a *TopUp) Containers() []loops.ContainerID { return drawnFrom(a.Poured) }

// Check refuses what has no charge to be added to, and liquid of no name.
func (a *TopUp) Check(s Snapshot, today loops.Day) error {
	on := a.on(today)
	if err := s.returned(on, loops.KindTopUp); err != nil {
		return err
	}
	if err := s.charged(on); err != nil {
		return err
	}
	if most := max(s.Loop.Volume+s.Loop.VolumeUncertainty, s.On(on).Charge.Volume); most > 0 && a.Drained > most {
		return wrong("drained", a.Drained.String(), "not more than the loop holds, "+most.String())
	}
	if err := s.gap(a.Missing); err != nil {
		return err
	}
	poured, err := s.fromShelf(a.Poured)
	if err != nil {
		return err
	}
	for _, p := range poured {
		if p.Liquid == "" {
			return wrong("poured", printPour(p), "what it was and how much: water=40ml, pg:95%=10ml, or 3=40ml from container 3")
		}
	}
	return kept(a.Drained, a.Disposal)
}

// gap refuses more to be missing than the loop holds full.
func (s Snapshot) gap(missing chemistry.Litre) error {
	if full := s.Loop.Volume; full > 0 && missing >= full {
		return wrong("gap", missing.String(), fmt.Sprintf("less than the loop holds full, %s; where it holds more, its record is put right first", full))
	}
	return nil
}

// charged refuses an act on a loop that held nothing on the day.
func (s Snapshot) charged(on loops.Day) error {
	if s.On(on).Charge == nil {
		return wrong("tag", string(s.Loop.Tag), "a loop with a charge on "+on.String()+"; record its fill first")
	}
	return nil
}

// Judge asks chemistry what becomes of the charge, by the same rules that plan
// a top-up.
func (a *TopUp) Judge(s Snapshot, today loops.Day) []Reason {
	state := s.On(a.on(today))
	poured, err := s.fromShelf(a.Poured)
	if err != nil || state.Charge == nil {
		return nil
	}
	request := s.pouring(state)
	request.Drained = a.Drained
	formulated := loops.SinceFillOf(s.History).Formulated
	request.Poured = s.liquids(poured)
	for i, p := range poured {
		if slices.Contains(formulated, p.Container) {
			request.Poured[i].Inhibitor = request.Inhibitor
		}
	}
	found, _, err := chemistry.CheckPour(request)
	if err != nil {
		return []Reason{byRecord("not-judged", chemistry.Stop, err.Error(),
			"Put right what is named, in the loop's record or here.")}
	}
	for i := range found {
		if found[i].Rule == "overfilled" && found[i].Way == "" {
			found[i].Way = "Write down as readings what was missing before (gap), and then what was poured."
		}
	}
	return append(found, s.builtAs()...)
}

// byLabel lets bottles that go by their own label count in a charge as their
// curve says at its strength, not as they are neat.
func (s Snapshot) byLabel(c loops.Charge, poured []loops.Pour) {
	for i, p := range poured {
		box, ok := s.container(p.Container)
		if product := box.ByLabel(); ok && box.Mass == nil && product != nil && c.Mass != nil && c.Fluid == p.Fluid {
			if x, off, err := product.CountsAs(*c.Mass); err == nil {
				poured[i].Mass, poured[i].MassUncertainty = x, off
			}
		}
	}
}

// pouring is what is in the loop and what it asks, as a pour is judged by.
func (s Snapshot) pouring(state loops.State) chemistry.PourRequest {
	charge, loop := *state.Charge, s.Loop
	holds := state.Held()
	if loop.Volume > 0 && !state.MissingSeen.IsZero() {
		holds = loop.Volume - state.Missing
	}
	if holds <= 0 {
		holds = loop.Volume
	}
	request := loop.TopUpRequest(charge, loops.SinceFillOf(s.History))
	request.Holds, request.HoldsUncertainty = holds, loop.VolumeUncertainty
	return chemistry.PourRequest{TopUpRequest: request, Capacity: loop.Volume, MetalsKnown: len(loop.Wetted) > 0}
}

// Apply adds it.
func (a *TopUp) Apply(s Snapshot, today loops.Day) loops.Change {
	poured, err := s.fromShelf(a.Poured)
	if err != nil {
		return loops.Change{}
	}
	if charge := s.On(a.on(today)).Charge; charge != nil {
		s.byLabel(*charge, poured)
	}
	topUp := a.TopUp
	topUp.Poured = poured
	return a.writes(loops.Entry{Kind: loops.KindTopUp, TopUp: &topUp}, today)
}
