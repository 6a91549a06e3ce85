// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

// A field that is added and marked personal is erased, and no other list knows
// of it. The test looks inside, since it adds one to a copy of the record.
func TestNewPersonalFieldIsErased(t *testing.T) {
	t.Parallel()
	machine := loops.Machine{Name: "the grey tower", Maker: "Nowhere Works", Model: "Heron"}
	before := machine
	copied := Machines()
	copied.erase(&before)
	assert.Equal(t, "Heron", before.Model)

	copied.all = append(copied.all[:len(copied.all):len(copied.all)],
		one(Field{Name: "nickname", Personal: true}, words(), func(m *loops.Machine) *string { return &m.Model }))
	copied.erase(&machine)
	assert.Empty(t, machine.Model)
	assert.Equal(t, "Nowhere Works", machine.Maker)
}
