// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package demo

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"

	"fillmark/chemistry"
	"fillmark/loops"
)

// demoStudy is an invented loop that was opened, or measured good at some age:
// what the openings of the scenario have to say comes from these.
type demoStudy struct {
	demoMachine
	good  int // days ago it was measured good again; zero: never
	early int // by how many days the fill can have been earlier than filled
}

// demoCollege is a customer with many alike loops: sealed ones of copper and
// aluminium, and open rigs of copper and brass.
func demoCollege() (loops.Owner, []demoStudy) {
	owner := loops.Owner{Name: "Kelda College, engineering", Phone: "+351 210 555 0163", Consent: loops.Consent{Opening: true, Photos: true}}
	sealed := func(number, filled, good, looked int, opened *demoOpening) demoStudy {
		m := loops.Machine{Kind: loops.Workstation, Name: fmt.Sprintf("seat %d", number), Maker: "Nowhere Works", Model: "Heron"}
		return demoStudy{demoMachine{m, sealedLoop(0.150, celsius(5), copperPlate, aluminiumRad), formulated(chemistry.PropyleneGlycol, 30), 0.140, filled, filled - 1, filled - 2, looked, opened}, good, 0}
	}
	rig := func(number, filled, good, looked int, opened *demoOpening) demoStudy {
		m := loops.Machine{Kind: loops.TestRig, Name: fmt.Sprintf("rig %d", number), Maker: "Oakenbeck", Model: "Rill 2"}
		return demoStudy{demoMachine{m, openLoop(0.800, 0.020, celsius(0), copperPlate, brassRad), formulated(chemistry.PropyleneGlycol, 33), 0.780, filled, filled - 1, filled - 2, looked, opened}, good, 0}
	}
	slime := loops.Residue{Kind: "brown slime", Place: "cold plate inlet"}
	threads := loops.Residue{Kind: "jelly or threads", Place: "pump"}
	clog := func(daysAgo int, severity loops.Severity, residues ...loops.Residue) *demoOpening {
		return &demoOpening{daysAgo, loops.Opening{Cause: loops.CauseClog, Colour: "faded", Clarity: "opaque", Smell: "musty", Residues: residues, Severity: &severity}}
	}
	return owner, []demoStudy{
		sealed(1, 490, 250, 0, clog(170, loops.Narrowed, slime)),
		sealed(2, 470, 220, 0, clog(120, loops.Blocked, slime, threads)),
		sealed(3, 455, 180, 0, clog(60, loops.Narrowed, slime)),
		sealed(4, 440, 45, 12, nil),
		sealed(5, 410, 150, 0, clog(20, loops.Deposits, slime)),
		sealed(6, 300, 40, 12, nil),
		rig(1, 500, 35, 15, nil),
		rig(2, 490, 30, 15, nil),
		rig(3, 440, 38, 15, nil),
		rig(4, 430, 200, 0, &demoOpening{90, loops.Opening{Cause: loops.CausePump, Colour: "as filled", Clarity: "clear", Residues: []loops.Residue{{Kind: "bright flakes", Place: "pump"}}, Severity: new(loops.Film)}}),
		rig(5, 350, 42, 15, nil),
		rig(6, 280, 44, 15, nil),
	}
}

// demoDonors are coolers got for study, whatever their state, with the factory's
// charge in them: of a fill only the quarter is printed on the label.
func demoDonors() []demoStudy {
	donor := func(number, filled, good int, opened *demoOpening) demoStudy {
		m := loops.Machine{Kind: loops.DonorUnit, Name: fmt.Sprintf("donor cooler %d", number), Maker: "Nowhere Works", Model: "Heron"}
		charge := loops.Charge{Fluid: chemistry.PropyleneGlycol, Origin: loops.Factory}
		return demoStudy{demoMachine{m, sealedLoop(0.150, nil, copperPlate, aluminiumRad), charge, 0.110, filled, 0, 0, 0, opened}, good, 90}
	}
	found := func(daysAgo int, cause loops.Cause, colour loops.Colour, severity loops.Severity, residues ...loops.Residue) *demoOpening {
		return &demoOpening{daysAgo, loops.Opening{Cause: cause, Colour: colour, Clarity: "hazy", Residues: residues, Severity: &severity}}
	}
	film := loops.Residue{Kind: "red-brown film", Place: "cold plate fins"}
	slime := loops.Residue{Kind: "black slime", Place: "cold plate inlet"}
	return []demoStudy{
		donor(1, 1400, 0, found(80, loops.CauseClog, "black", loops.Blocked, slime)),
		donor(2, 1250, 0, found(75, loops.CauseClog, "black", loops.Narrowed, slime)),
		donor(3, 1100, 0, found(70, loops.CauseClog, "orange", loops.Narrowed, slime, film)),
		donor(4, 1000, 66, nil),
		donor(5, 900, 64, nil),
		donor(6, 760, 62, found(55, loops.CauseNone, "as filled", loops.Film, film)),
		donor(7, 620, 0, found(50, loops.CausePump, "as filled", loops.Film, film)),
		donor(8, 500, 48, nil),
	}
}

// study records the loops that openings and measurements are from.
func (d *demo) study(ctx context.Context) error {
	invented, college := demoCollege()
	owner, err := d.system.Workshop.AddOwner(d.stamp(520, 9), invented)
	if err != nil {
		return fmt.Errorf("owner %s: %w", invented.Name, err)
	}
	for _, s := range college {
		if err := d.studied(ctx, owner, s); err != nil {
			return fmt.Errorf("%s: %w", s.machine.Name, err)
		}
	}
	donors := demoDonors()
	for _, s := range donors {
		if err := d.studied(ctx, loops.Owner{}, s); err != nil {
			return fmt.Errorf("%s: %w", s.machine.Name, err)
		}
	}
	d.out.Line("     and for what openings teach: %d more of a college, %d donor units", len(college), len(donors))
	return nil
}

func (d *demo) studied(ctx context.Context, owner loops.Owner, s demoStudy) error {
	if s.opened != nil && s.opened.found.Severity != nil && *s.opened.found.Severity == loops.Blocked {
		if err := d.photograph(&s.opened.found); err != nil {
			return err
		}
	}
	opened := s.opened // after the measurements
	s.demoMachine.opened = nil
	if s.early > 0 {
		s.charge.FilledFrom = loops.DayOf(d.now, d.zone).AddDays(-s.filled - s.early)
	}
	tag, err := d.add(ctx, owner, s.demoMachine)
	if err != nil {
		return err
	}
	var steps []demoStep
	if s.good > 0 {
		steps = append(steps, d.service(owner, s)...)
	}
	if opened != nil {
		if owner.ID != 0 && *opened.found.Severity == loops.Blocked {
			opened.found.FailedOn = loops.DayOf(d.now, d.zone).AddDays(-opened.daysAgo - 3)
		}
		steps = append(steps, demoStep{opened.daysAgo, 14, loops.Entry{Kind: loops.KindOpening, Opening: &opened.found}})
	}
	return d.record(ctx, tag, steps)
}

// service is a technician's check that found a loop good.
func (d *demo) service(owner loops.Owner, s demoStudy) []demoStep {
	after := upright()
	after.Die, after.CoolantIn = celsius(55), celsius(31.5)
	steps := []demoStep{{s.good, 11, loops.Entry{Kind: loops.KindInspection, Inspection: &after}}}
	if owner.ID == 0 || s.looked == 0 {
		return steps
	}
	biocide := loops.Additive{Family: string(chemistry.Isothiazolinone), Product: "invented biocide", LifeMonths: 12}
	return append(steps,
		demoStep{s.good, 12, loops.Entry{Kind: loops.KindDose, Dose: &loops.Dose{Role: loops.RoleBiocide, Additive: biocide}}},
		demoStep{s.good, 13, loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 2, Dry: true}}})
}

// photograph draws the fins before and after the work and keeps both.
func (d *demo) photograph(o *loops.Opening) error {
	for _, moment := range []loops.PhotoMoment{loops.BeforeWork, loops.AfterWork} {
		drawn, err := drawFins(moment == loops.BeforeWork)
		if err != nil {
			return err
		}
		kept, err := d.system.Workshop.KeepPhoto("drawn fins", drawn)
		if err != nil {
			return err
		}
		o.Photos = append(o.Photos, loops.OpeningPhoto{Hash: kept.Hash, When: moment, White: true})
	}
	return nil
}

// drawFins is no photo but a drawing that stands for one: copper fins seen from
// above, with a white strip to judge colours by, and filled up if clogged.
func drawFins(clogged bool) ([]byte, error) {
	const width, height, pitch = 640, 480, 16
	copper, gap, slime := color.RGBA{190, 120, 80, 255}, color.RGBA{70, 40, 30, 255}, color.RGBA{122, 96, 52, 255}
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			c := copper
			if x%pitch >= pitch/2 {
				c = gap
				if fill := (x/pitch*37)%height + height/4; clogged && y > fill%height {
					c = slime
				}
			}
			if y < 40 {
				c = color.RGBA{255, 255, 255, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	var out bytes.Buffer
	err := png.Encode(&out, img)
	return out.Bytes(), err
}
