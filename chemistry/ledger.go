// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"slices"
	"strings"

	"fillmark/chemistry/tables"
)

// Source is one line of the ledger: where figures and sentences come from, who read it, and what the reading is worth.
type Source struct {
	ID       string `json:"id"`
	Citation string `json:"citation"`
	Where    string `json:"where"` // table, page, section or address
	ReadBy   string `json:"read_by"`
	// Standing: independent checks the program's figures and does not stem from the tables it computes from; same is a table that
	// it computes from, or a copy of one, and no check; read is a passage read; practice is what nobody can look up; recalled was
	// not opened.
	Standing string `json:"standing"`
}

// Sources returns the ledger, in the order of its table.
func Sources() []Source {
	rows := tables.All().Sources
	out := make([]Source, len(rows))
	for i, r := range rows {
		out[i] = Source(r)
	}
	return out
}

// IsSource reports whether the ledger has a line of that id.
func IsSource(id string) bool {
	return slices.ContainsFunc(tables.All().Sources, func(s tables.Source) bool { return s.ID == id })
}

// citations writes out what ids of the ledger stand for.
func citations(ids []string) string {
	var out []string
	for _, id := range ids {
		for _, s := range tables.All().Sources {
			if s.ID == id {
				out = append(out, s.Citation)
			}
		}
	}
	return strings.Join(out, "; ")
}
