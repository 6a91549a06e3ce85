// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/cmd/fillmark/acts"
)

// aboutThings are the fields with words of one's own that are about a thing,
// not about a person, and stay when an owner is erased.
func aboutThings() []string {
	return strings.Fields(`
		intake.symptom readings.instrument readings.noise open.residue open.words open.photo drain.hazard drain.went weigh.what
		fill.additive fill.poured fill.inhibitor-product fill.biocide-product fill.product fill.lot dose.family dose.product dose.poured
		poured.poured poured.hazard poured.went machine.maker machine.model
		loop.name loop.wetted loop.tubing loop.pump-place loop.mounting container.product container.label container.lot container.note`)
}

// Whoever adds a field that takes words of one's own says whether they are about
// a person: marked personal, which erasing follows, or listed here.
func TestWordsOfOnesOwnAreClassed(t *testing.T) {
	t.Parallel()
	var found []string
	class := func(of string, fields []acts.Field) {
		for _, f := range fields {
			free := (f.Type == acts.Text || f.Type == acts.Lines) && len(f.Choices) == 0
			name := of + "." + f.Name
			if !free || f.Personal || f.Hidden {
				continue
			}
			found = append(found, name)
			assert.Contains(t, aboutThings(), name, "%s: is what stands there about a person?", name)
		}
	}
	for _, d := range acts.All() {
		class(d.Name, d.Fields)
	}
	class("owner", acts.Owners().Fields())
	class("machine", acts.Machines().Fields())
	class("loop", acts.Loops().Fields())
	class("container", acts.Containers().Fields())
	for _, name := range aboutThings() {
		assert.True(t, slices.Contains(found, name), "%s is no such field any more: take it from the list", name)
	}
}
