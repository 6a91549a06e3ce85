// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "fillmark/loops/inspection"

// Proof compares readings after a repair with those before it.
type Proof struct {
	Before Inspection `json:"before"`
	After  Inspection `json:"after"`
}

// Compared is what inspection makes of the two, or why they do not compare.
func (x *Proof) Compared() (inspection.Proof, error) {
	return inspection.Prove(x.Before.Reading(), x.After.Reading())
}

// Valid tells that the repair is proved: the readings compare, a watt warms the
// die less than before by more than they can be wrong by, both were taken at
// like power, and the technician judged the loop good. Readings at unlike power
// are compared and shown, but what releases a machine rests on no estimate of
// what its power changes.
func (x *Proof) Valid() bool {
	compared, err := x.Compared()
	return err == nil && compared.Proved && compared.Apart == "" && x.After.Verdict == Good
}

func (x *Proof) validate() error {
	var p problems
	p.add(x.Before.validate())
	p.add(x.After.validate())
	return p.err()
}

// Reading is what was read of the heat, as inspection takes it.
func (x *Inspection) Reading() inspection.Reading {
	r := inspection.Reading{Die: x.Die, CoolantIn: x.CoolantIn, CoolantOut: x.CoolantOut, Room: x.Room, Steady: x.Steady}
	if x.PowerW != nil {
		r.Power = new(inspection.Watt(*x.PowerW))
	}
	if x.PumpW != nil {
		r.Pump = inspection.Watt(*x.PumpW)
	}
	return r
}
