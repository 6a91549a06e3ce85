// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"io"
	"strings"

	"fillmark/loops"
)

// Imported says what an import of a table did.
type Imported struct {
	Table TableName `json:"table"`
	Rows  int       `json:"rows"`
	// Written is false after a dry run.
	Written bool `json:"written"`
	// Ignored names columns that were not imported, since only the register
	// writes them.
	Ignored []string `json:"ignored,omitempty"`
	// Tags are those of imported loops, in the order of the rows.
	Tags []loops.Tag `json:"tags,omitempty"`
	// Repeated are rows that an import before this one put on record.
	Repeated int `json:"repeated,omitempty"`
	// Findings say what speaks against imported acts that were taken all the same.
	Findings []Finding `json:"findings,omitempty"`
}

// ImportTable reads a table of new records and writes all of them in one
// change, or nothing: where rows are bad the error joins one
// *loops.InvalidError for each, named by line and column. A dry run writes
// nothing and finds the same faults.
func (w *Workshop) ImportTable(s Stamp, table TableName, in io.Reader, dryRun bool) (Imported, error) {
	if table == ActsTable {
		return w.importActs(s, in, dryRun)
	}
	report := Imported{Table: table}
	change := loops.Change{At: s.At, By: s.By, Action: "import " + string(table)}
	var err error
	switch table {
	case OwnersTable:
		change.Owners, report.Ignored, err = importRows(in, w.owners())
		report.Rows = len(change.Owners)
	case MachinesTable:
		change.Machines, report.Ignored, err = importRows(in, w.machines())
		report.Rows = len(change.Machines)
	case LoopsTable:
		change.Loops, report.Ignored, err = importRows(in, w.loops())
		report.Rows = len(change.Loops)
	case ContainersTable:
		change.Shelf.Containers, report.Ignored, err = importRows(in, w.containers())
		report.Rows = len(change.Shelf.Containers)
	default:
		return report, wrong("table", string(table), "one of: "+joinNames(TableNames()))
	}
	if err != nil || dryRun {
		return report, err
	}
	if err := w.bindStops(change.Owners, func(i int, day loops.Day) { change.Owners[i].MailStopped = day }); err != nil {
		return report, err
	}
	if err := w.number(&change); err != nil {
		return report, err
	}
	for _, l := range change.Loops {
		report.Tags = append(report.Tags, l.Tag)
	}
	if err := w.register.Commit(change); err != nil {
		return report, err
	}
	report.Written = true
	return report, nil
}

func importRows[T any](in io.Reader, t table[T]) ([]T, []string, error) {
	rows, ignored, err := readTable(in, t)
	records := make([]T, 0, len(rows))
	for _, r := range rows {
		records = append(records, r.record)
	}
	return records, ignored, err
}

// number gives the imported records their numbers and the loops their tags.
func (w *Workshop) number(change *loops.Change) error {
	err := errors.Join(
		numbered(change.Owners, w.register.NewOwnerIDs, func(o *loops.Owner, id loops.OwnerID) { o.ID = id }),
		numbered(change.Machines, w.register.NewMachineIDs, func(m *loops.Machine, id loops.MachineID) { m.ID = id }),
		numbered(change.Loops, w.register.NewLoopIDs, func(l *loops.Loop, id loops.LoopID) { l.ID = id }),
		numbered(change.Shelf.Containers, w.register.NewContainerIDs, func(c *loops.Container, id loops.ContainerID) { c.ID = id }),
	)
	if err != nil {
		return err
	}
	given := map[loops.Tag]bool{"": true}
	for i := range change.Loops {
		l := &change.Loops[i]
		for given[l.Tag] {
			if l.Tag, err = w.freeTag(); err != nil {
				return err
			}
		}
		given[l.Tag] = true
	}
	return nil
}

// numbered takes as many ids as there are records, in one go, since each going
// to the disk takes milliseconds.
func numbered[T any, ID ~uint64](records []T, newIDs func(int) (ID, error), set func(*T, ID)) error {
	if len(records) == 0 {
		return nil
	}
	first, err := newIDs(len(records))
	if err != nil {
		return err
	}
	for i := range records {
		set(&records[i], first+ID(i))
	}
	return nil
}

// WriteTable writes a list as CSV.
func (w *Workshop) WriteTable(table TableName, out io.Writer) error {
	switch table {
	case OwnersTable:
		return writeTable(out, w.owners(), w.register.Owners())
	case MachinesTable:
		return writeTable(out, w.machines(), w.register.Machines())
	case LoopsTable:
		return writeTable(out, w.loops(), w.register.Loops())
	case ContainersTable:
		return writeTable(out, w.containers(), w.register.Containers())
	case ActsTable:
		return w.writeActs(out)
	}
	return wrong("table", string(table), "one of: "+joinNames(TableNames()))
}

func joinNames[T ~string](names []T) string {
	var all []string
	for _, n := range names {
		all = append(all, string(n))
	}
	return strings.Join(all, ", ")
}
