// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package demo

import (
	"fmt"

	"fillmark/chemistry"
	"fillmark/loops"
)

// demoContainers is the shelf of the invented workshop. Days count back from
// the day it runs; a negative number is a day to come.
func demoContainers(day func(ago int) loops.Day) []loops.Container {
	premix := func(lot string, percent float64, left chemistry.Litre, opened, expires int) loops.Container {
		return loops.Container{
			Kind: loops.PremixBottle, Product: "invented long-life premix", Lot: lot, Fluid: chemistry.PropyleneGlycol, Mass: fraction(percent),
			MassUncertainty: 0.01, Opened: day(opened), Expires: day(expires), Left: left,
		}
	}
	additive := func(product, lot string, left chemistry.Litre, opened, expires int) loops.Container {
		return loops.Container{Kind: loops.AdditiveBottle, Product: product, Lot: lot, Opened: day(opened), Expires: day(expires), Left: left}
	}
	concentrate := func(fluid chemistry.Fluid, lot string, left chemistry.Litre, opened int) loops.Container {
		return loops.Container{
			Kind: loops.ConcentrateBottle, Product: "invented " + fluid.Name() + " concentrate", Lot: lot, Fluid: fluid, Mass: fraction(95),
			MassUncertainty: 0.01, Opened: day(opened), Left: left,
		}
	}
	return []loops.Container{
		premix("P30-117", 30, 2, 135, -220),
		premix("P33-204", 33, 1.5, 110, -220),
		concentrate(chemistry.PropyleneGlycol, "C95-088", 3.2, 380),
		concentrate(chemistry.EthyleneGlycol, "E95-031", 4.1, 130),
		additive("invented azole blend", "A-19", 0.21, 376, -150),
		additive("invented biocide", "B-07", 0.034, 376, -5),
		{Kind: loops.WaterContainer, Product: "deionised water", Fluid: chemistry.DeionisedWater, Mass: fraction(0), Opened: day(12), Left: 7.5},
	}
}

// demoInstrument is what readings are taken with, and when it was checked.
type demoInstrument struct {
	instrument loops.Instrument
	ago        int
	check      loops.InstrumentCheck
}

// demoInstruments are one checked lately, and one whose check is long due.
func demoInstruments() []demoInstrument {
	return []demoInstrument{
		{loops.Instrument{Kind: loops.Refractometer, Name: "bench refractometer", Serial: "R-2"}, 3, loops.InstrumentCheck{Against: "water at 20C", Read: 0.1, Unit: "°Brix"}},
		{loops.Instrument{Kind: loops.PHMeter, Name: "pocket pH meter", Serial: "P-5"}, 200, loops.InstrumentCheck{Against: "buffer pH 7.00", Expected: 7, Read: 7.06, Unit: "pH"}},
	}
}

// stock puts the shelf on record.
func (d *demo) stock() error {
	day := func(ago int) loops.Day { return loops.DayOf(d.now, d.zone).AddDays(-ago) }
	for _, c := range demoContainers(day) {
		stored, err := d.system.Workshop.AddContainer(d.stamp(500, 8), c)
		if err != nil {
			return fmt.Errorf("container %s: %w", c.Lot, err)
		}
		d.shelf = append(d.shelf, stored)
	}
	for _, i := range demoInstruments() {
		stored, err := d.system.Workshop.AddInstrument(d.stamp(500, 8), i.instrument)
		if err == nil {
			i.check.Day = day(i.ago)
			_, err = d.system.Workshop.CheckInstrument(d.stamp(i.ago, 8), stored.ID, i.check)
		}
		if err != nil {
			return fmt.Errorf("instrument %s: %w", i.instrument.Name, err)
		}
	}
	return nil
}

// poured is the premix on the shelf that a charge was made of; nothing where
// it was mixed fresh or before the bottle was opened.
func (d *demo) poured(m demoMachine) []loops.Pour {
	charge, filled := m.charge, loops.DayOf(d.now, d.zone).AddDays(-m.filled)
	for _, c := range d.shelf {
		if c.Kind == loops.PremixBottle && !filled.Before(c.Opened) && charge.FormulatedProduct && c.Fluid == charge.Fluid && *c.Mass == *charge.Mass {
			return []loops.Pour{{Volume: charge.Volume, Container: c.ID}}
		}
	}
	return nil
}
