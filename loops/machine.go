// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// Machine is what an owner brought, or a donor unit that is only studied.
type Machine struct {
	ID       MachineID `json:"id"`
	Revision uint64    `json:"revision"`
	// Owner is zero for a donor unit and for no other machine.
	Owner OwnerID     `json:"owner,omitempty"`
	Kind  MachineKind `json:"kind"`
	// Name is how the owner speaks of it: "the grey tower".
	Name  string `json:"name"`
	Maker string `json:"maker,omitempty"` // as the workshop types it
	Model string `json:"model,omitempty"`
	// Accessories lists what was handed in with it.
	Accessories []string `json:"accessories,omitempty"`
	// WarrantyAsked tells that the maker's warranty was asked about, and
	// WarrantyNote what the answer was.
	WarrantyAsked bool   `json:"warranty_asked,omitempty"`
	WarrantyNote  string `json:"warranty_note,omitempty"`
	// PromisedBack is the day the machine was promised back; zero if none.
	PromisedBack Day `json:"promised_back,omitzero"`
}

// MachineKind is a kind of machine.
type MachineKind string

// The kinds of machine.
const (
	Desktop      MachineKind = "desktop"
	Workstation  MachineKind = "workstation"
	Server       MachineKind = "small server"
	BenchChiller MachineKind = "bench chiller"
	LaserChiller MachineKind = "laser chiller"
	TestRig      MachineKind = "test rig"
	DonorUnit    MachineKind = "donor unit"
)

// MachineKinds lists the kinds in the order they are offered.
func MachineKinds() []MachineKind {
	return []MachineKind{Desktop, Workstation, Server, BenchChiller, LaserChiller, TestRig, DonorUnit}
}

// IsChiller tells whether the machine has an evaporator, whose wall can be
// colder than the room by far.
func (k MachineKind) IsChiller() bool { return k == BenchChiller || k == LaserChiller }

// Validate returns all that is wrong with the machine's fields, joined.
func (m Machine) Validate() error {
	var p problems
	p.add(oneOf("kind", m.Kind, MachineKinds()...))
	p.add(requireText("name", m.Name, 200))
	p.add(checkText("maker", m.Maker, 100, false))
	p.add(checkText("model", m.Model, 100, false))
	p.add(checkText("warranty note", m.WarrantyNote, 500, false))
	if len(m.Accessories) > 50 {
		p.add(invalid("accessories", len(m.Accessories), "at most 50"))
	}
	for _, a := range m.Accessories {
		p.add(requireText("accessories", a, 200))
	}
	if !m.PromisedBack.IsZero() {
		p.add(m.PromisedBack.validate("promised back"))
	}
	if (m.Owner == 0) != (m.Kind == DonorUnit) {
		p.add(invalid("owner", uint64(m.Owner), "an owner for every machine but a donor unit, which has none"))
	}
	return p.err()
}
