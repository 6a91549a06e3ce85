// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"slices"
	"strings"

	"fillmark/chemistry"
)

// OwnerCautions are the cautions of all that is in the loops, in owners' words:
// each once, those of poisonous liquids first. One that does not hold for all
// of the loops names its machines, so that nobody takes the harmless liquid of
// one for that of the other.
func OwnerCautions(files []File) []string {
	var filled []File
	for _, f := range files {
		seen := slices.ContainsFunc(filled, func(o File) bool { return o.Loop.ID == f.Loop.ID })
		if f.Loop.State.Charge != nil && !seen {
			filled = append(filled, f)
		}
	}
	slices.SortStableFunc(filled, func(a, b File) int {
		return cmp.Compare(harm(a.Loop.State.Charge.Fluid), harm(b.Loop.State.Charge.Fluid))
	})
	var texts []string
	machines := map[string][]string{} // by text
	for _, f := range filled {
		for _, c := range chemistry.Cautions(f.Loop.State.Charge.Contents()) {
			text := strings.TrimSpace(strings.TrimSuffix(c.OwnerText, chemistry.Deferral))
			if text == "" {
				continue
			}
			if !slices.Contains(texts, text) {
				texts = append(texts, text)
			}
			machines[text] = append(machines[text], machineName(f.Machine, f.Loop))
		}
	}
	if len(texts) == 0 {
		return nil
	}
	for i, text := range texts {
		if names := machines[text]; len(names) < len(filled) {
			texts[i] = "In “" + strings.Join(names, "”, “") + "”: " + text
		}
	}
	return append(texts, chemistry.Deferral)
}

// harm ranks a fluid: what is, or may be, poisonous comes first.
func harm(f chemistry.Fluid) int {
	if f == chemistry.EthyleneGlycol || f == "" {
		return 0
	}
	return 1
}
