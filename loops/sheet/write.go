// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"unicode/utf8"
)

// formula are the characters with which a cell begins that a spreadsheet takes
// for a formula and runs, whoever typed it.
const formula = "=+-@\t\r＝＋－＠"

// Defused puts an apostrophe before each part of a cell that a spreadsheet would
// take for a formula: where lists are parted by semicolons it begins a cell after
// each. [armed] takes them away again.
func Defused(cell string) string { return parts(cell, defusedPart) }

// armed undoes [Defused]: an apostrophe stays where none was put.
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

// WriteRow writes one row with a CRLF behind it, as RFC 4180 has it, and with its
// cells [Defused]. The csv package's own CRLF would go into the cells
// as well.
func WriteRow(to *bufio.Writer, cells []string) error {
	var row bytes.Buffer
	w := csv.NewWriter(&row)
	safe := make([]string, len(cells))
	for i, cell := range cells {
		safe[i] = Defused(cell)
	}
	if err := w.Write(safe); err != nil {
		return err
	}
	w.Flush()
	_, err := to.Write(append(bytes.TrimSuffix(row.Bytes(), []byte("\n")), "\r\n"...))
	return err
}
