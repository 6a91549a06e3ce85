// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fillmark/loops"
)

func TestWhoInOneLine(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]loops.Owner{
		"Bea Moss": {Name: "Bea Moss"},
		"Bea Moss +351 910 000 111 bea@moss.example": {Name: "Bea Moss", Phone: "+351 910 000 111", Email: "bea@moss.example"},
		"bea@moss.example, Bea  Moss; 0910/000-111":  {Name: "Bea Moss", Phone: "0910/000-111", Email: "bea@moss.example"},
		"<bea@moss.example> Lab 3":                   {Name: "Lab 3", Email: "bea@moss.example"},
		"910000111":                                  {Phone: "910000111"},
		"":                                           {},
		"Bea Moss 1, +351 910 000 111":               {Name: "Bea Moss 1", Phone: "+351 910 000 111"},
		"Moss 910 000 111 920 000 222":               {Name: "Moss", Phone: "910 000 111 920 000 222"},
	} {
		assert.Equal(t, want, loops.ReadOwner(line), line)
	}
	rapid.Check(t, func(t *rapid.T) {
		line := rapid.StringOfN(rapid.RuneFrom([]rune("ab @.,;+1 23456ö")), 0, 40, -1).Draw(t, "line")
		o := loops.ReadOwner(line)
		signs := func(s string) []rune {
			all := []rune(strings.NewReplacer(" ", "", ",", "", ";", "").Replace(s))
			slices.Sort(all)
			return all
		}
		assert.Equal(t, signs(line), signs(o.Line()), "nothing that was typed is lost")
		if strings.ContainsAny(o.Name, "abö") {
			assert.True(t, o.Fits(o.Name))
		}
	})
}

func TestOwnerFitsWhatIsTyped(t *testing.T) {
	t.Parallel()
	o := loops.Owner{Name: "Bea Moss", Phone: "+351 910 000 111", Email: "bea@moss.example"}
	for _, typed := range []string{"bea", "MOSS b", "moss.example", "910000", "0910 000", "000-111", "Bea Moss, bea@moss.example"} {
		assert.True(t, o.Fits(typed), typed)
	}
	for _, typed := range []string{"", " ", "rui", "bea rui", "920", "12"} {
		assert.False(t, o.Fits(typed), typed)
	}
}
