// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

func TestHeldBy(t *testing.T) {
	t.Parallel()
	note := loops.Entry{Kind: loops.KindNote}
	to := func(from, to loops.OwnerID) loops.Entry {
		return loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{From: from, To: to}}
	}
	sold := []loops.Entry{note, to(1, 2), note, to(2, 1), note, to(1, 3), note}
	for _, tt := range []struct {
		name    string
		owner   loops.OwnerID
		now     loops.OwnerID
		history []loops.Entry
		want    []bool
	}{
		{"never sold, theirs", 1, 1, []loops.Entry{note, note}, []bool{true, true}},
		{"never sold, another's", 1, 2, []loops.Entry{note, note}, []bool{false, false}},
		{"sold, bought back and sold again", 1, 3, sold, []bool{true, true, false, true, true, true, false}},
		{"between two sales", 2, 3, sold, []bool{false, true, true, true, false, false, false}},
		{"the last", 3, 3, sold, []bool{false, false, false, false, false, true, true}},
		{"nothing on record", 1, 1, nil, []bool{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, tt.want, loops.HeldBy(tt.owner, tt.now, tt.history))
		})
	}
}
