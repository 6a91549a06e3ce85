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

// readTable reads a table of records.
func readTable[T any](in io.Reader, t table[T]) (records []T, ignored []string, err error) {
	fields := map[string]acts.Field{}
	var names []string
	for _, f := range t.record.Fields() {
		names, fields[f.JSONKey()] = append(names, f.JSONKey()), f
	}
	return readRows(in, names, t.given, func(line sheet.Row, header []string) (T, error) {
		r, wrongs := readRow(t, line, header, fields)
		for _, more := range r.blame(t.check(r.record), t.record.Fields()) {
			if !slices.ContainsFunc(wrongs, func(w error) bool { return sameCell(w, more) }) {
				wrongs = append(wrongs, more)
			}
		}
		return r.record, errors.Join(wrongs...)
	})
}

// readRows reads the rows of a table whose columns are known by their names. It
// reports all that is wrong, joined, and then returns no rows. ignored names the
// column given, which only the register writes, where it is there; those that are
// needed are.
func readRows[R any](in io.Reader, known []string, given string, read func(line sheet.Row, header []string) (R, error), needed ...string) (rows []R, ignored []string, err error) {
	file, err := sheet.Open(in)
	if err != nil {
		return nil, nil, err
	}
	var faults loops.Faults
	for at, name := range file.Header {
		place := fmt.Sprintf("line 1, column %d", at+1)
		switch {
		case slices.Contains(file.Header[:at], name):
			faults.Add(wrong(place, name, "each column once"))
		case name == given:
			ignored = append(ignored, name)
		case !slices.Contains(known, name):
			faults.Add(wrong(place, name, "one of: "+strings.Join(known, ", ")))
		}
	}
	for _, name := range needed {
		if !slices.Contains(file.Header, name) {
			faults.Add(wrong("line 1", "no column "+name, "the columns "+strings.Join(needed, ", ")))
		}
	}
	if faults.Any() {
		return nil, nil, faults.Err()
	}
	for line, err := range file.Rows() {
		if faults.Full(1) {
			continue // counted by rows from here on
		}
		var r R
		if err == nil {
			r, err = read(line, file.Header)
		}
		if faults.Add(err); !faults.Any() {
			rows = append(rows, r)
		}
	}
	if faults.Any() {
		return nil, nil, faults.Err()
	}
	return rows, ignored, nil
}

func readRow[T any](t table[T], line sheet.Row, header []string, fields map[string]acts.Field) (row[T], []error) {
	r := row[T]{Row: line, cells: map[string]sheet.Cell{}}
	var problems []error
	said := acts.Said{}
	for i, cell := range line.Cells {
		f, known := fields[header[i]]
		if !known {
			continue
		}
		r.cells[f.Name] = cell
		texts, err := saidIn(cell, f)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		said[f.Name] = texts
	}
	problems = append(problems, t.record.Read(&r.record, said))
	return r, r.blame(errors.Join(problems...), t.record.Fields())
}

// saidIn reads a cell of the field's column.
func saidIn(cell sheet.Cell, f acts.Field) ([]string, error) {
	if f.Type != acts.Number {
		return f.FromCell(cell.Text)
	}
	number, err := cell.Number(f.Name)
	if err != nil {
		return nil, err
	}
	return f.FromCell(number)
}

// blame puts a place in front of every problem that validation found.
func (r row[T]) blame(err error, fields []acts.Field) []error {
	return loops.EachFault(loops.MapFaults(err, func(err error) error {
		var invalid *loops.InvalidError
		if !errors.As(err, &invalid) {
			return fmt.Errorf("line %d: %w", r.Line, err)
		}
		for _, f := range fields {
			if p, there := r.cells[f.Name]; there && f.Is(invalid.Field) {
				return p.Blame(f.JSONKey(), err)
			}
		}
		return r.Blame(invalid.Field, err)
	}))
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
