// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"
	"strconv"
	"strings"
)

// FromCell reads a cell of a table into what was said: figures bare, in the
// unit that the column's name ends with, and several values parted by
// semicolons, of which a doubled one stands for itself. An empty cell says nothing.
func (f Field) FromCell(cell string) ([]string, error) {
	switch {
	case cell == "":
		return nil, nil
	case f.Many:
		return parted(cell), nil
	case f.Type == Number && f.Unit != "":
		if _, err := strconv.ParseFloat(cell, 64); err != nil {
			return nil, wrong(f.Name, cell, "a plain number; the unit is in the column's name")
		}
		cell += f.Unit
	}
	return []string{cell}, nil
}

// ToCell writes what was said as [Field.FromCell] reads it.
func (f Field) ToCell(texts []string) string {
	if f.Many {
		texts = slices.Clone(texts)
		for i := range texts {
			texts[i] = strings.ReplaceAll(texts[i], ";", ";;")
		}
	}
	cell := strings.Join(texts, "; ")
	if f.Type == Number {
		return strings.TrimSuffix(cell, f.Unit)
	}
	return cell
}

// parted splits a cell at its single semicolons.
func parted(cell string) []string {
	const one = "\x00"
	var texts []string
	for part := range strings.SplitSeq(strings.ReplaceAll(cell, ";;", one), ";") {
		texts = append(texts, strings.TrimSpace(strings.ReplaceAll(part, one, ";")))
	}
	return texts
}
