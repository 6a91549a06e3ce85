// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
	"fillmark/loops/sheet"
)

// row is one record of a table with where its cells stand in the file.
type row[T any] struct {
	record T
	sheet.Row
	cells map[string]sheet.Cell // by the field's name
}

// readTable reads a table of records. It reports every bad row it finds, joined,
// and then returns no rows. ignored names the columns that only the register
// writes.
func readTable[T any](in io.Reader, t table[T]) (rows []row[T], ignored []string, err error) {
	read, err := sheet.Open(in)
	if err != nil {
		return nil, nil, err
	}
	use, ignored, err := t.match(read.Header)
	if err != nil {
		return nil, nil, err
	}
	var faults loops.Faults
	for line, err := range read.Rows() {
		if faults.Full(1) {
			continue // counted by rows from here on
		}
		if err != nil {
			faults.Add(err)
			continue
		}
		r, wrongs := readRow(t, line, use)
		faults.Add(errors.Join(wrongs...))
		for _, more := range r.blame(t.check(r.record), t.record.Fields()) {
			if !slices.ContainsFunc(wrongs, func(w error) bool { return sameCell(w, more) }) {
				faults.Add(more)
			}
		}
		if r.cells = nil; !faults.Any() {
			rows = append(rows, r)
		}
	}
	if faults.Any() {
		return nil, nil, faults.Err()
	}
	return rows, ignored, nil
}

// match finds the field of each cell; nil where it is not imported.
func (t table[T]) match(header []string) (use []*acts.Field, ignored []string, err error) {
	fields := t.record.Fields()
	var names []string
	for _, f := range fields {
		names = append(names, f.JSONKey())
	}
	var faults loops.Faults
	for at, name := range header {
		i := slices.Index(names, name)
		use = append(use, nil)
		switch {
		case slices.Contains(header[:at], name):
			faults.Add(wrong(fmt.Sprintf("line 1, column %d", at+1), name, "each column once"))
		case name == t.given:
			ignored = append(ignored, name)
		case i < 0:
			faults.Add(wrong(fmt.Sprintf("line 1, column %d", at+1), name, "one of: "+strings.Join(names, ", ")))
		default:
			use[at] = &fields[i]
		}
	}
	return use, ignored, faults.Err()
}

func readRow[T any](t table[T], line sheet.Row, use []*acts.Field) (row[T], []error) {
	r := row[T]{Row: line, cells: map[string]sheet.Cell{}}
	var problems []error
	said := acts.Said{}
	for i, cell := range line.Cells {
		if use[i] == nil {
			continue
		}
		f := *use[i]
		r.cells[f.Name] = cell
		texts, err := f.FromCell(cell.Text)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		said[f.Name] = texts
	}
	problems = append(problems, t.record.Read(&r.record, said))
	return r, r.blame(errors.Join(problems...), t.record.Fields())
}

// blame puts a place in front of every problem that validation found.
func (r row[T]) blame(err error, fields []acts.Field) []error {
	if err == nil {
		return nil
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []error
		for _, e := range joined.Unwrap() {
			all = append(all, r.blame(e, fields)...)
		}
		return all
	}
	var invalid *loops.InvalidError
	if errors.As(err, &invalid) {
		for _, f := range fields {
			if p, there := r.cells[f.Name]; there && f.Is(invalid.Field) {
				return []error{p.Blame(f.JSONKey(), err)}
			}
		}
		return []error{r.Blame(invalid.Field, err)}
	}
	return []error{fmt.Errorf("line %d: %w", r.Line, err)}
}

// sameCell tells whether two problems are about one cell: a cell that could
// not be read is not said to be missing as well.
func sameCell(a, b error) bool {
	var x, y *loops.InvalidError
	return errors.As(a, &x) && errors.As(b, &y) && x.Field == y.Field
}

// writeTable writes a list as CSV with a header line and CRLF line ends, as
// RFC 4180 has them. Line breaks inside cells stay as they are.
func writeTable[T any](out io.Writer, t table[T], records iter.Seq2[T, error]) error {
	to := bufio.NewWriter(out)
	fields := t.record.Fields()
	cells := []string{t.given}
	for _, f := range fields {
		cells = append(cells, f.JSONKey())
	}
	if err := sheet.WriteRow(to, cells); err != nil {
		return err
	}
	for r, err := range records {
		if err != nil {
			return err
		}
		said := t.record.Say(r)
		cells[0] = t.called(r)
		for i, f := range fields {
			cells[i+1] = f.ToCell(said[f.Name])
		}
		if err := sheet.WriteRow(to, cells); err != nil {
			return err
		}
	}
	return to.Flush()
}
