// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package sheet reads and writes tables as spreadsheets do: CSV after RFC 4180
// with a header line, in whatever way a program separates its cells.
package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"fillmark/loops"
)

// The bounds of one table; its bytes are bounded by who reads it.
const (
	MaxRows      = 20_000
	MaxColumns   = 200
	MaxCellBytes = 16 << 10
)

// Cell is what a cell says and where it stands: line and column from 1, the
// column counted in cells as a spreadsheet does.
type Cell struct {
	Text         string
	Line, Column int
	comma        bool // where a number has its decimals behind one
}

// thousands is a number that a program may have written whose thousands are parted
// by a point.
var thousands = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2}\.[0-9]{3}$`)

// Number is a cell in a column of numbers as the register reads them: with
// semicolons between the cells a comma stands before the decimals. A point with
// three digits behind it may part thousands there: it is refused, by the field's
// name.
func (c Cell) Number(field string) (string, error) {
	switch {
	case !c.comma:
		return c.Text, nil
	case thousands.MatchString(c.Text):
		return "", wrong(field, c.Text, fmt.Sprintf("%s or %s: a point may part thousands where semicolons part the cells",
			strings.Replace(c.Text, ".", "", 1), strings.Replace(c.Text, ".", ",", 1)))
	}
	if number := strings.Replace(c.Text, ",", ".", 1); isFigure(number) {
		return number, nil
	}
	return c.Text, nil
}

// Blame puts the place of a cell in front of what is wrong with it; name is that
// of its column.
func (c Cell) Blame(name string, err error) error {
	return blame(fmt.Sprintf("line %d, column %d (%s)", c.Line, c.Column, name), err)
}

// Row is one row, with a cell for each column of the header.
type Row struct {
	Line  int
	Cells []Cell
}

// Blame puts the row's line in front of what is wrong with the field.
func (r Row) Blame(field string, err error) error {
	return blame(fmt.Sprintf("line %d (%s)", r.Line, field), err)
}

func blame(place string, err error) error {
	var invalid *loops.InvalidError
	if errors.As(err, &invalid) {
		return wrong(place, invalid.Value, invalid.Reason)
	}
	return wrong(place, err.Error(), "a value that the register can keep")
}

func wrong(field, value, reason string) error {
	return &loops.InvalidError{Field: field, Value: value, Reason: reason}
}

// Table is a table that is being read.
type Table struct {
	Header []string // in small letters
	reader *csv.Reader
}

// Open finds out how the file separates its cells, with commas, semicolons or
// tabs, and reads its header. It may begin with a byte order mark and end its
// lines with LF or CRLF; it has to be UTF-8.
func Open(in io.Reader) (Table, error) {
	text, err := io.ReadAll(in)
	if err != nil {
		return Table{}, err
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(text) {
		at := 1 + bytes.Count(validPrefix(text), []byte("\n"))
		return Table{}, wrong("file", fmt.Sprintf("line %d", at), "text in UTF-8")
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
		return Table{}, wrong("file", "no header", "a first line that names the columns")
	}
	if len(header) > MaxColumns {
		return Table{}, wrong("line 1", fmt.Sprintf("%d columns", len(header)), fmt.Sprintf("at most %d columns", MaxColumns))
	}
	for i := range header {
		header[i] = strings.ToLower(strings.TrimSpace(header[i]))
	}
	return Table{header, reader}, nil
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

// Rows reads the rows. One that cannot be read is an error that names its line,
// and the rows after it follow where they can be read. No row at all and more than
// a table may have are errors too.
func (t Table) Rows() iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for n := 0; ; n++ {
			cells, err := t.reader.Read()
			switch {
			case errors.Is(err, io.EOF):
				if n == 0 {
					yield(Row{}, wrong("file", "no rows", "a header line and at least one row"))
				}
				return
			case err != nil:
				// Of a row with too few cells or too many the end is known.
				if !yield(Row{}, t.badLine(err)) || !errors.Is(err, csv.ErrFieldCount) {
					return
				}
				continue
			case n == MaxRows:
				yield(Row{}, wrong("file", fmt.Sprintf("more than %d rows", MaxRows), fmt.Sprintf("at most %d rows in one go: split the table", MaxRows)))
				return
			}
			row := Row{Cells: make([]Cell, len(cells))}
			row.Line, _ = t.reader.FieldPos(0)
			for i, cell := range cells {
				line, _ := t.reader.FieldPos(i)
				if len(cell) > MaxCellBytes {
					yield(Row{}, wrong(fmt.Sprintf("line %d, column %d", line, i+1), cell[:40]+"…", fmt.Sprintf("at most %d bytes in a cell", MaxCellBytes)))
					return
				}
				row.Cells[i] = Cell{plain(cell), line, i + 1, t.reader.Comma == ';'}
			}
			if !yield(row, nil) {
				return
			}
		}
	}
}

// badLine names the line of a fault of the CSV itself.
func (t Table) badLine(err error) error {
	var parse *csv.ParseError
	switch {
	case !errors.As(err, &parse):
		return err
	case errors.Is(parse.Err, csv.ErrFieldCount):
		return wrong(fmt.Sprintf("line %d", parse.StartLine), "another number of cells", fmt.Sprintf("%d cells, as the header has", len(t.Header)))
	}
	return wrong(fmt.Sprintf("line %d", parse.Line), parse.Err.Error(), `cells with a quote inside are quoted and the quote doubled: "5"" tube"`)
}

// plain is what a cell says, without what a spreadsheet made of it.
func plain(cell string) string {
	return armed(strings.TrimSpace(strings.ReplaceAll(cell, "\r\n", "\n")))
}

func isFigure(cell string) bool {
	_, err := strconv.ParseFloat(cell, 64)
	return err == nil
}
