// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres

import (
	"encoding/binary"
	"fmt"

	"fillmark/loops"
)

// mark is the row that every writer locks and writes again: which revision this is,
// and who made the last few. So a process that lost the answer to its commit finds
// out what became of it.
type mark struct {
	revision uint64
	tokens   [16]uint64 // of the revision that is n modulo 16 at n
}

// stamp is a commit: the revision that it made, and the number that it drew.
type stamp struct{ revision, token uint64 }

// slot is the place of the stamp's token in a mark.
func (s stamp) slot() uint64 { return s.revision % uint64(len(mark{}.tokens)) }

// layout is the version of the table and of the mark.
const layout = 1

// bytes are the layout and the mark's numbers, big-endian.
func (m mark) bytes() []byte {
	b := binary.BigEndian.AppendUint64([]byte{layout}, m.revision)
	for _, token := range m.tokens {
		b = binary.BigEndian.AppendUint64(b, token)
	}
	return b
}

// readMark reads what bytes has written.
func readMark(b []byte) (mark, error) {
	var m mark
	if len(b) == 0 || len(b) != len(m.bytes()) && b[0] == layout {
		return m, fmt.Errorf("%w: the first row of the table %s has %d bytes", loops.ErrForeign, table, len(b))
	}
	if b[0] != layout {
		return m, fmt.Errorf("%w (the table %s is of layout %d, this program knows %d)", loops.ErrNewer, table, b[0], layout)
	}
	m.revision = binary.BigEndian.Uint64(b[1:])
	for i := range m.tokens {
		m.tokens[i] = binary.BigEndian.Uint64(b[9+8*i:])
	}
	return m, nil
}
