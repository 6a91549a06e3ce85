// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"errors"
	"time"

	"fillmark/chemistry"
)

// ContainerID identifies a container on the shelf. Zero is no container.
type ContainerID uint64

// UsedFluidID numbers the lines of the used-fluid log. Zero is none.
type UsedFluidID uint64

// InstrumentID identifies an instrument. Zero is none.
type InstrumentID uint64

// SampleID identifies a retained sample. Zero is none.
type SampleID uint64

// Shelf is what one action writes to the shelf, as plain data: the part of a
// [Change] that is about containers, instruments, samples and used fluid.
type Shelf struct {
	Containers  []Container
	UsedFluid   []UsedFluid
	Instruments []Instrument
	Samples     []RetainedSample
}

// Container is a bottle or a batch on the shelf.
type Container struct {
	ID       ContainerID   `json:"id"`
	Revision uint64        `json:"revision"` // raised by the store at every write
	Kind     ContainerKind `json:"kind"`
	// Product and Lot are as on the label.
	Product string `json:"product"`
	Lot     string `json:"lot,omitempty"`
	// Fluid is empty for an additive.
	Fluid chemistry.Fluid `json:"fluid,omitempty"`
	// Mass is the glycol mass fraction, from the label or measured; nil where it
	// is not known. MassUncertainty is k = 2.
	Mass            *chemistry.MassFraction `json:"mass_fraction,omitempty"`
	MassUncertainty chemistry.MassFraction  `json:"mass_fraction_uncertainty,omitempty"`
	MassKnown       Known                   `json:"mass_fraction_known,omitzero"`
	// Pairs are the lines of the label, in the label's own per cent; empty where
	// nobody wrote them down.
	Pairs []chemistry.LabelPair `json:"label_pairs,omitempty"`
	// Opened, Mixed and Expires are zero where they do not apply or are unknown.
	Opened  Day `json:"opened,omitzero"`
	Mixed   Day `json:"mixed,omitzero"`
	Expires Day `json:"expires,omitzero"`
	// Left is what is still in it.
	Left chemistry.Litre `json:"left_l"`
	// Uses lists which loops it went into: the recall list.
	Uses []Use  `json:"uses,omitempty"`
	Note string `json:"note,omitempty"`
}

// Use is what one loop got from a container on a day.
type Use struct {
	Loop   LoopID          `json:"loop"`
	Day    Day             `json:"day"`
	Volume chemistry.Litre `json:"volume_l"`
}

// ContainerKind is a kind of container.
type ContainerKind string

// The kinds of container.
const (
	ConcentrateBottle ContainerKind = "concentrate"
	PremixBottle      ContainerKind = "premix"
	AdditiveBottle    ContainerKind = "additive"
	MixedBatch        ContainerKind = "batch"
	WaterContainer    ContainerKind = "water"
)

// ContainerKinds lists the kinds in the order they are offered.
func ContainerKinds() []ContainerKind {
	return []ContainerKind{ConcentrateBottle, PremixBottle, AdditiveBottle, MixedBatch, WaterContainer}
}

// Validate returns all that is wrong with the container's fields, joined.
func (c Container) Validate() error {
	var p problems
	p.add(oneOf("kind", c.Kind, ContainerKinds()...))
	p.add(requireText("product", c.Product, 200))
	p.add(checkText("lot", c.Lot, 60, false))
	if c.Kind == AdditiveBottle {
		p.add(oneOf("fluid", c.Fluid, append(chemistry.Fluids(), "")...))
	} else {
		p.add(oneOf("fluid", c.Fluid, chemistry.Fluids()...))
	}
	optional(&p, "strength", c.Mass, 0, 1, "as a mass fraction")
	p.add(inRange("strength uncertainty", c.MassUncertainty, 0, 1, "as a mass fraction"))
	p.add(c.MassKnown.validate("strength"))
	p.add(inRange("left", c.Left, 0, 1000, "litres"))
	if len(c.Pairs) > 0 {
		p.add(c.checkLabel())
	}
	if !c.Opened.IsZero() && !c.Mixed.IsZero() && c.Opened.Before(c.Mixed) {
		p.add(invalid("opened", c.Opened.String(), "not before it was mixed, "+c.Mixed.String()))
	}
	for _, u := range c.Uses {
		if u.Loop == 0 || u.Day.IsZero() {
			p.add(invalid("uses", uint64(u.Loop), "the loop and the day of every use"))
		}
		p.add(inRange("volume", u.Volume, 0.0001, 1000, "litres"))
	}
	p.add(checkText("note", c.Note, 2000, true))
	return p.err()
}

// checkLabel refuses lines of a label that cannot be.
func (c Container) checkLabel() error {
	product := c.ByLabel()
	if product == nil {
		return invalid("label", c.Pairs[0].String(), "the label of a coolant with glycol")
	}
	_, err := product.At(0)
	var wrong *chemistry.InvalidError
	if errors.As(err, &wrong) {
		return invalid("label", wrong.Value, wrong.Reason)
	}
	return err
}

// ByLabel is the product by its own label; nil where no line of it is on record
// or it holds no glycol.
func (c Container) ByLabel() *chemistry.Product {
	if len(c.Pairs) == 0 || !c.Fluid.IsGlycol() {
		return nil
	}
	return &chemistry.Product{Name: c.Product, Base: c.Fluid, Pairs: c.Pairs}
}

// Strength is what the container holds, and how sure that is (k = 2): as on
// record, else by the lines of its label. Nil where neither says it.
func (c Container) Strength() (*chemistry.MassFraction, chemistry.MassFraction) {
	p := c.ByLabel()
	if c.Mass != nil || p == nil {
		return c.Mass, c.MassUncertainty
	}
	mass, off, err := p.Neat()
	if err != nil {
		return nil, 0
	}
	return &mass, off
}

// UsedFluid is one line of the used-fluid log: what came out and where it went.
// Lines are never changed.
type UsedFluid struct {
	ID       UsedFluidID `json:"id"`
	Recorded time.Time   `json:"recorded"` // the instant, UTC
	Day      Day         `json:"day"`
	By       string      `json:"by"`
	Loop     LoopID      `json:"loop,omitempty"` // zero where it is from several
	// Entry is the entry of the loop's history that took it out; zero where the
	// line was written by itself. Where that entry is struck out the line does
	// not count.
	Entry  EntryID         `json:"entry,omitempty"`
	Fluid  chemistry.Fluid `json:"fluid"`
	Volume chemistry.Litre `json:"volume_l"`
	// Hazard is in the workshop's words: "glycol, traces of copper".
	Hazard string `json:"hazard,omitempty"`
	Went   string `json:"went"` // where it went
}

// Validate returns all that is wrong with the line's fields, joined.
func (u UsedFluid) Validate() error {
	var p problems
	if u.Day.IsZero() {
		p.add(invalid("day", "", "the day it was taken out, such as 2026-12-03"))
	}
	p.add(requireText("by", u.By, 100))
	p.add(oneOf("fluid", u.Fluid, append(anyFluid(), "")...)) // empty: nobody knows it
	p.add(inRange("volume", u.Volume, 0.0001, 1000, "litres"))
	p.add(checkText("hazard", u.Hazard, 500, false))
	p.add(requireText("went", u.Went, 500))
	return p.err()
}

// Instrument is something that readings are taken with.
type Instrument struct {
	ID       InstrumentID   `json:"id"`
	Revision uint64         `json:"revision"`
	Kind     InstrumentKind `json:"kind"`
	Name     string         `json:"name"`
	Serial   string         `json:"serial,omitempty"`
	// Checks are in the order they were made.
	Checks []InstrumentCheck `json:"checks,omitempty"`
	// Retired is the day it left use; zero while it is in use.
	Retired Day `json:"retired,omitzero"`
}

// InstrumentKind is a kind of instrument.
type InstrumentKind string

// The kinds of instrument.
const (
	Refractometer     InstrumentKind = "refractometer"
	Hydrometer        InstrumentKind = "hydrometer"
	PHMeter           InstrumentKind = "pH meter"
	ConductivityMeter InstrumentKind = "conductivity meter"
	Thermometer       InstrumentKind = "thermometer"
	Scale             InstrumentKind = "scale"
)

// InstrumentKinds lists the kinds in the order they are offered.
func InstrumentKinds() []InstrumentKind {
	return []InstrumentKind{Refractometer, Hydrometer, PHMeter, ConductivityMeter, Thermometer, Scale}
}

// InstrumentCheck is a zero or buffer check: what the instrument read of
// something known.
type InstrumentCheck struct {
	Day Day    `json:"day"`
	By  string `json:"by"`
	// Against is what was known: "water at 20C", "buffer pH 7.00".
	Against string `json:"against"`
	// Expected and Read are in Unit.
	Expected float64 `json:"expected"`
	Read     float64 `json:"read"`
	Unit     string  `json:"unit,omitempty"`
	Adjusted bool    `json:"adjusted,omitempty"` // set right afterwards
}

// Validate returns all that is wrong with the instrument's fields, joined.
func (i Instrument) Validate() error {
	var p problems
	p.add(oneOf("kind", i.Kind, InstrumentKinds()...))
	p.add(requireText("name", i.Name, 200))
	p.add(checkText("serial", i.Serial, 60, false))
	for _, c := range i.Checks {
		if c.Day.IsZero() {
			p.add(invalid("day", "", "the day of the check, such as 2026-12-03"))
		}
		p.add(requireText("by", c.By, 100))
		p.add(requireText("against", c.Against, 200))
		p.add(inRange("expected", c.Expected, -1e6, 1e6, c.Unit))
		p.add(inRange("read", c.Read, -1e6, 1e6, c.Unit))
		p.add(checkText("unit", c.Unit, 20, false))
	}
	return p.err()
}

// RetainedSample is liquid of a loop kept back to be looked at later.
type RetainedSample struct {
	ID       SampleID `json:"id"`
	Revision uint64   `json:"revision"`
	Loop     LoopID   `json:"loop"`
	// Entry is the entry of the loop's history it was taken with; zero if none.
	Entry EntryID `json:"entry,omitempty"`
	Taken Day     `json:"taken"`
	Place string  `json:"place"` // where it stands
	Keep  Day     `json:"keep_until,omitzero"`
	// Discarded is the day it was poured away; zero while it is kept.
	Discarded Day    `json:"discarded,omitzero"`
	Note      string `json:"note,omitempty"`
}

// Validate returns all that is wrong with the sample's fields, joined.
func (s RetainedSample) Validate() error {
	var p problems
	if s.Loop == 0 {
		p.add(invalid("loop", 0, "the loop it was taken from"))
	}
	if s.Taken.IsZero() {
		p.add(invalid("taken", "", "the day it was taken, such as 2026-12-03"))
	}
	if !s.Keep.IsZero() && s.Keep.Before(s.Taken) {
		p.add(invalid("keep until", s.Keep.String(), "not before the day it was taken, "+s.Taken.String()))
	}
	p.add(requireText("place", s.Place, 200))
	p.add(checkText("note", s.Note, 2000, true))
	return p.err()
}

// Suppression is a mail address that nothing is sent to any more, because it
// bounced for good.
type Suppression struct {
	Address string    `json:"address"`
	Reason  string    `json:"reason"`
	Since   time.Time `json:"since"` // the instant, UTC
	// Status is that of RFC 3463; empty where the other side gave none.
	Status string `json:"status,omitempty"`
}
