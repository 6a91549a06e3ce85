// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// MaxGroups is the largest number of groups in one file; more is a column of
// something else.
const MaxGroups = 50

// MaxRows bounds the lines of one file; equal lives are one line with a count.
const MaxRows = 100_000

// csvColumns are the columns of a file of lives; the first three are needed.
func csvColumns() []string { return []string{"lower", "upper", "count", "group", "entry", "cause"} }

// ReadCSV reads lives from a file with a header and the columns lower, upper
// and count, and if wanted group, entry and cause, in any order. An empty
// upper or Inf is a loop that has not failed, upper equal to lower a failure
// at a known age, lower 0 a loop found failed at its first opening. The first
// thing wrong is returned as an *InvalidError with its line and column.
func ReadCSV(in io.Reader) (Lives, error) {
	reader := csv.NewReader(skipMark(in))
	reader.ReuseRecord = true
	reader.FieldsPerRecord = -1 // counted here, with better words
	header, err := reader.Read()
	if errors.Is(err, io.EOF) {
		return Lives{}, &InvalidError{Line: 1, Column: "header", Reason: "the file is empty; the first line names the columns lower,upper,count"}
	}
	if err != nil {
		return Lives{}, csvError(err)
	}
	at, bad := columnPlaces(header)
	if bad != nil {
		return Lives{}, bad
	}
	var rows []Life
	var groups interner
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Lives{}, csvError(err)
		}
		life, bad := readLife(record, at)
		if len(rows) == MaxRows {
			bad = &InvalidError{Column: "count", Value: "one line too many", Reason: fmt.Sprintf("at most %d lines; equal lives are one line with their count", MaxRows)}
		}
		if bad == nil {
			bad = life.check()
		}
		groups.place(life.Group)
		if bad == nil && len(groups.names) > MaxGroups {
			bad = &InvalidError{Column: "group", Value: life.Group, Reason: fmt.Sprintf("the file has more than %d groups", MaxGroups)}
		}
		if bad != nil {
			bad.Line, _ = reader.FieldPos(0)
			return Lives{}, bad
		}
		rows = append(rows, life)
	}
	if len(rows) == 0 {
		return Lives{}, &InvalidError{Line: 2, Column: "lower", Reason: "the file has a header and no lives"}
	}
	return NewLives(rows)
}

// skipMark passes over the byte order mark that some spreadsheets write.
func skipMark(in io.Reader) io.Reader {
	buffered := bufio.NewReaderSize(in, 1<<16)
	if mark, _ := buffered.Peek(3); string(mark) == "\ufeff" {
		_, _ = buffered.Discard(3) // peeked, so it is there
	}
	return buffered
}

// csvError turns the parser's error into one of ours; others, such as a disk
// that cannot be read, are passed on.
func csvError(err error) error {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		return &InvalidError{Line: parse.Line, Column: strconv.Itoa(parse.Column), Reason: parse.Err.Error()}
	}
	return fmt.Errorf("findings: read lives: %w", err)
}

// columns tells where each column is, -1 for one that is not there.
type columns struct {
	lower, upper, count, group, entry, cause int
	all                                      int
}

// columnPlaces reads the header.
func columnPlaces(header []string) (columns, *InvalidError) {
	c := columns{-1, -1, -1, -1, -1, -1, len(header)}
	wanted := csvColumns()
	at := []*int{&c.lower, &c.upper, &c.count, &c.group, &c.entry, &c.cause}
	for i, name := range header {
		name = strings.TrimSpace(name)
		which := slices.Index(wanted, name)
		switch {
		case which < 0:
			return c, &InvalidError{Line: 1, Column: strconv.Itoa(i + 1), Value: name, Reason: "no such column; " + strings.Join(wanted, ", ") + " are the right ones"}
		case *at[which] >= 0:
			return c, &InvalidError{Line: 1, Column: strconv.Itoa(i + 1), Value: name, Reason: "this column is there twice"}
		}
		*at[which] = i
	}
	for i, name := range wanted[:3] {
		if *at[i] < 0 {
			return c, &InvalidError{Line: 1, Column: name, Value: strings.Join(header, ","), Reason: "this column is missing; lower, upper and count are needed"}
		}
	}
	return c, nil
}

// readLife reads one record; it does not judge whether its values fit.
func readLife(record []string, at columns) (Life, *InvalidError) {
	life := Life{Upper: math.Inf(1)}
	if len(record) != at.all {
		return life, &InvalidError{Column: "count of values", Value: strings.Join(record, ","), Reason: fmt.Sprintf("%d values on the line; the header has %d columns", len(record), at.all)}
	}
	var bad *InvalidError
	if life.Lower, bad = readAge("lower", record[at.lower], math.NaN()); bad != nil {
		return life, bad
	}
	if life.Upper, bad = readAge("upper", record[at.upper], math.Inf(1)); bad != nil {
		return life, bad
	}
	if at.entry >= 0 {
		if life.Entry, bad = readAge("entry", record[at.entry], 0); bad != nil {
			return life, bad
		}
	}
	text := strings.TrimSpace(record[at.count])
	count, err := strconv.Atoi(text)
	if err != nil {
		return life, &InvalidError{Column: "count", Value: text, Reason: fmt.Sprintf("a whole number from 1 to %d is right", MaxCount)}
	}
	life.Count = count
	if at.cause >= 0 {
		life.Cause = strings.TrimSpace(record[at.cause])
	}
	if at.group >= 0 {
		life.Group = strings.TrimSpace(record[at.group])
	}
	return life, nil
}

// readAge reads an age; an empty one is what is given, or wrong if that is NaN.
func readAge(column, text string, empty float64) (float64, *InvalidError) {
	text = strings.TrimSpace(text)
	if text == "" && !math.IsNaN(empty) {
		return empty, nil
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(value) {
		return 0, &InvalidError{Column: column, Value: text, Reason: "an age in figures is right, such as 14.5"}
	}
	return value, nil
}
