// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "fillmark/loops/inspection"

// Proof compares readings after a repair with those before it.
type Proof struct {
	Before Inspection `json:"before"`
	After  Inspection `json:"after"`
}

// Valid tells that the repair is proved: the readings compare, it got better by
// more than they can be wrong by, and the technician judged the loop good.
func (x *Proof) Valid() bool {
	compared, err := inspection.Compare(x.Before.Reading(), x.After.Reading())
	return err == nil && compared.Proved() && x.After.Verdict == Good
}

func (x *Proof) validate() error {
	var p problems
	p.add(x.Before.validate())
	p.add(x.After.validate())
	return p.err()
}

// Reading is what was read of the heat, as inspection takes it.
func (x *Inspection) Reading() inspection.Reading {
	r := inspection.Reading{Die: x.Die, CoolantIn: x.CoolantIn, CoolantOut: x.CoolantOut, Set: x.SetPoint, Room: x.Room, Steady: x.Steady}
	if x.PowerW != nil {
		r.Power = new(inspection.Watt(*x.PowerW))
	}
	if x.PumpW != nil {
		r.Pump = inspection.Watt(*x.PumpW)
	}
	return r
}
