// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	_ "embed"
	"encoding/csv"
	"strings"
)

//go:embed signs.csv
var signsFile string

// Sign is what the look of a residue or of the liquid often means: a hint with
// its grade, never a fact.
type Sign struct {
	Sign    string `json:"sign"`
	Of      string `json:"of"` // "residue" or "liquid"
	Reading string `json:"reading"`
	Ask     string `json:"ask"` // what would tell
	Source  string `json:"source"`
	Grade   string `json:"grade"`
}

// Signs lists what is known of looks, in the order of the shipped table.
func Signs() []Sign {
	reader := csv.NewReader(strings.NewReader(signsFile))
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		// The file is part of the program: no input can cause this.
		panic("loops: shipped signs: " + err.Error())
	}
	var signs []Sign
	for _, r := range rows[1:] {
		signs = append(signs, Sign{r[0], r[1], r[2], r[3], r[4], r[5]})
	}
	return signs
}

// Signs returns the likely readings of what an opening showed.
func (x *Opening) Signs() []Sign {
	var found []Sign
	for _, s := range Signs() {
		hit := s.Of == "liquid" && s.Sign == string(x.Colour)
		for _, r := range x.Residues {
			hit = hit || s.Of == "residue" && s.Sign == string(r.Kind)
		}
		if hit {
			found = append(found, s)
		}
	}
	return found
}

// Look is what an opening showed, in one line of the fixed words.
func (x *Opening) Look() string {
	var parts []string
	add := func(text string) {
		if text != "" {
			parts = append(parts, text)
		}
	}
	if x.Colour != "" || x.Clarity != "" {
		add("liquid " + strings.TrimSpace(strings.Join([]string{string(x.Colour), string(x.Clarity)}, " ")))
	}
	if x.Smell != "" {
		add("smell " + string(x.Smell))
	}
	for _, r := range x.Residues {
		add(r.String())
	}
	if x.Severity != nil {
		add(x.Severity.String())
	}
	return strings.Join(parts, ", ")
}
