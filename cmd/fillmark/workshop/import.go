// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"io"

	"fillmark/cmd/fillmark/acts"
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
		change.Owners, report.Ignored, err = readTable(in, w.owners())
		report.Rows = len(change.Owners)
	case MachinesTable:
		change.Machines, report.Ignored, err = readTable(in, w.machines())
		report.Rows = len(change.Machines)
	case LoopsTable:
		change.Loops, report.Ignored, err = readTable(in, w.loops())
		report.Rows = len(change.Loops)
	case ContainersTable:
		change.Shelf.Containers, report.Ignored, err = readTable(in, w.containers())
		report.Rows = len(change.Shelf.Containers)
	default:
		return report, wrong("table", string(table), "one of: "+acts.Listed(TableNames()))
	}
	if err != nil || dryRun {
		return report, err
	}
	if err := w.put(&change); err != nil {
		return report, err
	}
	for _, l := range change.Loops {
		report.Tags = append(report.Tags, l.Tag)
	}
	report.Written = true
	return report, nil
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
	return wrong("table", string(table), "one of: "+acts.Listed(TableNames()))
}
