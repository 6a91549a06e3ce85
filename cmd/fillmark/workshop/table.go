// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// TableName names a list that is read and written as CSV (RFC 4180).
type TableName string

// The tables.
const (
	OwnersTable     TableName = "owners"
	MachinesTable   TableName = "machines"
	LoopsTable      TableName = "loops"
	ContainersTable TableName = "containers"
	// ActsTable is what was done to loops, each row an act that is judged.
	ActsTable TableName = "acts"
)

// TableNames lists the tables in the order in which they need each other.
func TableNames() []TableName {
	return []TableName{OwnersTable, MachinesTable, LoopsTable, ContainersTable, ActsTable}
}

// table is a list of records: their fields, behind a column that says what the
// register calls each and is not imported.
type table[T any] struct {
	record acts.Record[T]
	given  string
	called func(T) string
	check  func(T) error
}

func (w *Workshop) owners() table[loops.Owner] {
	return table[loops.Owner]{acts.Owners(), "number", func(o loops.Owner) string { return fmt.Sprint(o.ID) }, loops.Owner.Validate}
}

func (w *Workshop) machines() table[loops.Machine] {
	return table[loops.Machine]{acts.Machines(), "number", func(m loops.Machine) string { return fmt.Sprint(m.ID) }, w.checkMachine}
}

func (w *Workshop) loops() table[loops.Loop] {
	return table[loops.Loop]{acts.Loops(), "tag", func(l loops.Loop) string { return string(l.Tag) }, w.checkLoop}
}

func (w *Workshop) containers() table[loops.Container] {
	return table[loops.Container]{acts.Containers(), "number", func(c loops.Container) string { return fmt.Sprint(c.ID) }, loops.Container.Validate}
}

// checkMachine refuses a machine of an owner who is not on record.
func (w *Workshop) checkMachine(m loops.Machine) error {
	if err := m.Validate(); err != nil || m.Owner == 0 {
		return err
	}
	if _, err := w.register.Owner(m.Owner); err != nil {
		return wrong("owner", fmt.Sprint(m.Owner), "the number of an owner on record")
	}
	return nil
}

// checkLoop refuses a loop of a machine that is not on record.
func (w *Workshop) checkLoop(l loops.Loop) error {
	if _, err := w.register.Machine(l.Machine); err != nil {
		return wrong("machine", fmt.Sprint(l.Machine), "the number of a machine on record")
	}
	return l.Validate()
}
