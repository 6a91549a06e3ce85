// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// The bounds of one imported table; its bytes are bounded by who reads them.
const (
	MaxRows      = 20_000
	MaxColumns   = 200
	MaxCellBytes = 16 << 10
)

// row is one record of a table with where its cells stand in the file.
type row[T any] struct {
	record T
	line   int
	cells  map[string]place // by the field's name
}

// place is where a cell stands: line and column from 1, the column counted in
// cells as a spreadsheet does.
type place struct{ line, column int }

// readTable reads CSV: RFC 4180 with a header line; commas, semicolons or
// tabs; LF or CRLF; with or without a byte order mark. With semicolons a
// decimal comma is read as such. It reports every bad row it finds, joined,
// and then returns no rows. ignored names the columns that only the register
// writes.
func readTable[T any](in io.Reader, t table[T]) (rows []row[T], ignored []string, err error) {
	reader, header, err := openTable(in)
	if err != nil {
		return nil, nil, err
	}
	use, ignored, err := t.match(header)
	if err != nil {
		return nil, nil, err
	}
	var faults loops.Faults
	for number := 0; ; number++ {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			faults.Add(badLine(err, len(header)))
			var parse *csv.ParseError
			if errors.As(err, &parse) && errors.Is(parse.Err, csv.ErrFieldCount) {
				continue // the rows after it can still be read
			}
			break
		}
		if err := bounded(reader, number, cells); err != nil {
			return nil, nil, err
		}
		if faults.Full(1) {
			continue // counted by rows from here on
		}
		r, wrongs := readRow(t, reader, cells, use)
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
	if len(rows) == 0 {
		return nil, nil, wrong("file", "no rows", "a header line and at least one row")
	}
	return rows, ignored, nil
}

// bounded refuses a row too many, and a cell that is too long.
func bounded(reader *csv.Reader, number int, cells []string) error {
	if number == MaxRows {
		return wrong("file", fmt.Sprintf("more than %d rows", MaxRows), fmt.Sprintf("at most %d rows in one go: split the table", MaxRows))
	}
	for i, cell := range cells {
		if len(cell) > MaxCellBytes {
			line, _ := reader.FieldPos(i)
			return wrong(fmt.Sprintf("line %d, column %d", line, i+1), cell[:40]+"…", fmt.Sprintf("at most %d bytes in a cell", MaxCellBytes))
		}
	}
	return nil
}

// openTable finds out how the file separates its cells and reads its header.
func openTable(in io.Reader) (*csv.Reader, []string, error) {
	text, err := io.ReadAll(in)
	if err != nil {
		return nil, nil, err
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(text) {
		at := 1 + bytes.Count(validPrefix(text), []byte("\n"))
		return nil, nil, wrong("file", fmt.Sprintf("line %d", at), "text in UTF-8")
	}
	first, _, _ := bytes.Cut(text, []byte("\n"))
	reader := csv.NewReader(bytes.NewReader(text))
	for _, comma := range ";\t" {
		if bytes.ContainsRune(first, comma) && !bytes.ContainsRune(first, ',') {
			reader.Comma = comma
		}
	}
	header, err := reader.Read()
	if err != nil {
		return nil, nil, wrong("file", "no header", "a first line that names the columns")
	}
	if len(header) > MaxColumns {
		return nil, nil, wrong("line 1", fmt.Sprintf("%d columns", len(header)), fmt.Sprintf("at most %d columns", MaxColumns))
	}
	for i := range header {
		header[i] = strings.ToLower(strings.TrimSpace(header[i]))
	}
	return reader, header, nil
}

func validPrefix(text []byte) []byte {
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && size == 1 {
			return text[:i]
		}
		i += size
	}
	return text
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

// badLine names the line of a fault of the CSV itself.
func badLine(err error, wanted int) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return err
	}
	switch {
	case errors.Is(parse.Err, csv.ErrFieldCount):
		return wrong(fmt.Sprintf("line %d", parse.StartLine), "another number of cells", fmt.Sprintf("%d cells, as the header has", wanted))
	default:
		return wrong(fmt.Sprintf("line %d", parse.Line), parse.Err.Error(), `cells with a quote inside are quoted and the quote doubled: "5"" tube"`)
	}
}

func readRow[T any](t table[T], reader *csv.Reader, cells []string, use []*acts.Field) (row[T], []error) {
	r := row[T]{cells: map[string]place{}}
	r.line, _ = reader.FieldPos(0)
	var problems []error
	said := acts.Said{}
	for i, cell := range cells {
		if use[i] == nil {
			continue
		}
		f := *use[i]
		line, _ := reader.FieldPos(i)
		r.cells[f.Name] = place{line, i + 1}
		texts, err := f.FromCell(plainCell(reader, cell))
		if err != nil {
			problems = append(problems, err)
			continue
		}
		said[f.Name] = texts
	}
	problems = append(problems, t.record.Read(&r.record, said))
	return r, r.blame(errors.Join(problems...), t.record.Fields())
}

// plainCell is what a cell says, without what a spreadsheet made of it.
func plainCell(reader *csv.Reader, cell string) string {
	cell = armed(strings.TrimSpace(strings.ReplaceAll(cell, "\r\n", "\n")))
	if reader.Comma == ';' && strings.Count(cell, ",") == 1 && isFigure(strings.Replace(cell, ",", ".", 1)) {
		cell = strings.Replace(cell, ",", ".", 1)
	}
	return cell
}

func isFigure(cell string) bool {
	_, err := strconv.ParseFloat(cell, 64)
	return err == nil
}

// at puts the place of a cell in front of what is wrong with it.
func at(p place, name string, err error) error {
	return inField(err, fmt.Sprintf("line %d, column %d (%s)", p.line, p.column, name))
}

func inField(err error, field string) error {
	var invalid *loops.InvalidError
	if errors.As(err, &invalid) {
		return wrong(field, invalid.Value, invalid.Reason)
	}
	return wrong(field, err.Error(), "a value that the register can keep")
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
				return []error{at(p, f.JSONKey(), err)}
			}
		}
		return []error{inField(err, fmt.Sprintf("line %d (%s)", r.line, invalid.Field))}
	}
	return []error{fmt.Errorf("line %d: %w", r.line, err)}
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
	if err := writeRow(to, cells); err != nil {
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
		if err := writeRow(to, cells); err != nil {
			return err
		}
	}
	return to.Flush()
}

// formula are the characters with which a cell begins that a spreadsheet takes
// for a formula and runs, whoever typed it.
const formula = "=+-@\t\r＝＋－＠"

// defused puts an apostrophe before each part of a cell that a spreadsheet would
// take for a formula: where lists are parted by semicolons it begins a cell after
// each. [armed] takes them away again.
func defused(cell string) string { return parts(cell, defusedPart) }

// armed undoes [defused]: an apostrophe stays where none was put.
func armed(cell string) string { return parts(cell, armedPart) }

func parts(cell string, each func(string) string) string {
	all := strings.Split(cell, ";")
	for i, part := range all {
		text := strings.TrimLeft(part, " ")
		all[i] = part[:len(part)-len(text)] + each(text)
	}
	return strings.Join(all, ";")
}

// defusedPart leaves figures as they are.
func defusedPart(cell string) string {
	if inner := strings.TrimLeft(cell, "'"); inner == "" || !strings.ContainsRune(formula, firstRune(inner)) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil && strings.Trim(cell, "0123456789.+-eE") == "" {
		return cell
	}
	return "'" + cell
}

func armedPart(cell string) string {
	if without, ok := strings.CutPrefix(cell, "'"); ok && defusedPart(without) == cell {
		return without
	}
	return cell
}

func firstRune(text string) rune {
	r, _ := utf8.DecodeRuneInString(text)
	return r
}

// writeRow writes one row. The csv package's own CRLF would go into the cells
// as well.
func writeRow(to *bufio.Writer, cells []string) error {
	var row bytes.Buffer
	w := csv.NewWriter(&row)
	safe := make([]string, len(cells))
	for i, cell := range cells {
		safe[i] = defused(cell)
	}
	if err := w.Write(safe); err != nil {
		return err
	}
	w.Flush()
	_, err := to.Write(append(bytes.TrimSuffix(row.Bytes(), []byte("\n")), "\r\n"...))
	return err
}
