// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"slices"
	"strings"

	"fillmark/loops"
)

// OwnerQuery chooses and orders owners. A zero field chooses all.
type OwnerQuery struct {
	Mail   *bool  // reminders may be mailed, or may not
	Text   string // part of the name, address or telephone
	ByName bool   // sorted by name, else by number
}

// FindOwners lists the owners that a query chooses.
func (w *Workshop) FindOwners(q OwnerQuery) ([]loops.Owner, error) {
	found := []loops.Owner{}
	for o, err := range w.register.Owners() {
		if err != nil {
			return nil, err
		}
		if q.Mail != nil && o.MayMail() != *q.Mail {
			continue
		}
		if !containsFold(q.Text, o.Name, o.Email, o.Phone) {
			continue
		}
		found = append(found, o)
	}
	if q.ByName {
		slices.SortStableFunc(found, func(a, b loops.Owner) int { return compareNames(a.Name, b.Name) })
	}
	return found, nil
}

// containsFold tells whether one of the texts contains part, whatever its
// case.
func containsFold(part string, texts ...string) bool {
	part = strings.ToLower(part)
	return slices.ContainsFunc(texts, func(t string) bool { return strings.Contains(strings.ToLower(t), part) })
}

// MachineQuery chooses and orders machines. A zero field chooses all.
type MachineQuery struct {
	Owner    loops.OwnerID
	Kind     loops.MachineKind
	Promised loops.Day // promised back on or before it
	Text     string    // part of the name, maker or model
	Sort     MachineOrder
}

// MachineOrder is what machines are sorted by; empty is by their numbers.
type MachineOrder string

// The orders of machines.
const (
	MachinesByName     MachineOrder = "name"
	MachinesByOwner    MachineOrder = "owner"
	MachinesByPromised MachineOrder = "promised"
)

// MachineOrders lists the orders.
func MachineOrders() []MachineOrder {
	return []MachineOrder{MachinesByName, MachinesByOwner, MachinesByPromised}
}

// MachineLine is a machine in a list with its owner's name.
type MachineLine struct {
	loops.Machine
	OwnerName string `json:"owner_name,omitempty"`
}

// FindMachines lists the machines that a query chooses.
func (w *Workshop) FindMachines(q MachineQuery) ([]MachineLine, error) {
	found := []MachineLine{}
	var owners []loops.OwnerID
	for m, err := range w.register.Machines() {
		if err != nil {
			return nil, err
		}
		switch {
		case q.Owner != 0 && m.Owner != q.Owner, q.Kind != "" && m.Kind != q.Kind,
			!q.Promised.IsZero() && (m.PromisedBack.IsZero() || m.PromisedBack.After(q.Promised)),
			!containsFold(q.Text, m.Name, m.Maker, m.Model):
			continue
		}
		found, owners = append(found, MachineLine{Machine: m}), append(owners, m.Owner)
	}
	of, err := w.register.OwnersWith(owners)
	if err != nil {
		return nil, err
	}
	for i := range found {
		found[i].OwnerName = of[found[i].Owner].Name
	}
	switch q.Sort {
	case MachinesByName:
		slices.SortStableFunc(found, func(a, b MachineLine) int { return compareNames(a.Name, b.Name) })
	case MachinesByOwner:
		slices.SortStableFunc(found, func(a, b MachineLine) int { return compareNames(a.OwnerName, b.OwnerName) })
	case MachinesByPromised:
		slices.SortStableFunc(found, func(a, b MachineLine) int { return compareDays(a.PromisedBack, b.PromisedBack) })
	}
	return found, nil
}

// OwnerFile is an owner with all their machines and loops.
type OwnerFile struct {
	Owner    loops.Owner   `json:"owner"`
	Machines []MachineFile `json:"machines"`
}

// MachineFile is a machine with its loops.
type MachineFile struct {
	Machine   loops.Machine `json:"machine"`
	OwnerName string        `json:"owner_name,omitempty"`
	Loops     []LoopLine    `json:"loops"`
}

// OwnerFileOf reads everything that an owner has here.
func (w *Workshop) OwnerFileOf(id loops.OwnerID) (OwnerFile, error) {
	b, err := w.register.BelongingsOf(id, false)
	if err != nil {
		return OwnerFile{}, orNotFound("owner", id, err)
	}
	file := OwnerFile{Owner: b.Owner, Machines: []MachineFile{}}
	for _, m := range b.Machines {
		of := MachineFile{Machine: m, OwnerName: b.Owner.Name, Loops: []LoopLine{}}
		for _, l := range b.Loops {
			if l.Machine == m.ID {
				of.Loops = append(of.Loops, lineOf(Placed{l, m, b.Owner}))
			}
		}
		file.Machines = append(file.Machines, of)
	}
	return file, nil
}

// MachineFileOf reads a machine with its loops.
func (w *Workshop) MachineFileOf(id loops.MachineID) (MachineFile, error) {
	machine, err := w.register.Machine(id)
	if err != nil {
		return MachineFile{}, orNotFound("machine", id, err)
	}
	var owner loops.Owner
	if machine.Owner != 0 {
		if owner, err = w.register.Owner(machine.Owner); err != nil {
			return MachineFile{}, orNotFound("owner", machine.Owner, err)
		}
	}
	file := MachineFile{Machine: machine, OwnerName: owner.Name}
	inside, err := w.register.LoopsOf(id)
	file.Loops = []LoopLine{}
	for _, l := range inside {
		file.Loops = append(file.Loops, lineOf(Placed{l, machine, owner}))
	}
	return file, err
}
