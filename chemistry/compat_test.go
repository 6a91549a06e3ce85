// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/chemistry/tables"
)

func rulesOf(reasons []chemistry.Reason) []string {
	var out []string
	for _, r := range reasons {
		out = append(out, r.Rule)
	}
	return out
}

// eachPair calls f for every pair of families of two kinds, each once.
func eachPair(a, b chemistry.Kind, f func(x, y chemistry.Family)) {
	for i, x := range chemistry.Families(a) {
		for j, y := range chemistry.Families(b) {
			if a != b || j > i {
				f(x, y)
			}
		}
	}
}

// TestNoEmptyCell: every pair of the axes has a cell, and nothing else has one. A verdict has its text, sources and grade; go has a
// source that somebody read, and what nobody looked up or only remembers is care.
func TestNoEmptyCell(t *testing.T) {
	t.Parallel()
	set := tables.All()
	standing := make(map[string]string)
	for _, s := range set.Sources {
		standing[s.ID] = s.Standing
		assert.Contains(t, []string{"independent", "same", "read", "practice", "recalled"}, s.Standing, s.ID)
		assert.NotEmpty(t, s.Citation, s.ID)
		assert.NotEmpty(t, s.ReadBy, s.ID)
	}
	cells := 0
	for i, a := range chemistry.Kinds() {
		for _, b := range chemistry.Kinds()[i:] {
			eachPair(a, b, func(x, y chemistry.Family) {
				c, ok := set.Cells[tables.PairOf(string(x.Kind)+":"+x.ID, string(y.Kind)+":"+y.ID)]
				require.Equal(t, chemistry.Meet(a, b), ok, "%s and %s", x, y)
				if !ok {
					return
				}
				cells++
				rule := chemistry.Compatibility(x, y)
				assert.Equal(t, rule.Verdict == chemistry.Go, rule.OwnerText == "", "%s and %s: what is no go has words for the owner", x, y)
				for _, f := range []chemistry.Family{x, y} {
					assert.NotContains(t, rule.OwnerText, f.Name(), "owners are told no substances")
				}
				assert.Equal(t, rule, chemistry.Compatibility(y, x), "either way round")
				if c.Verdict == "unknown" {
					assert.Equal(t, chemistry.Care, rule.Verdict)
					assert.Contains(t, rule.Text, "not known: care")
					return
				}
				assert.NotEmpty(t, c.Text, "%s and %s", x, y)
				assert.NotEmpty(t, c.Sources, "%s and %s", x, y)
				read := false
				for _, id := range c.Sources {
					require.NotEmpty(t, standing[id], "%s: no such source", id)
					read = read || standing[id] == "read" || standing[id] == "independent"
				}
				if c.Verdict == "go" {
					assert.True(t, read, "%s and %s: a go needs a source that was read", x, y)
					assert.True(t, rule.Grade.Decides(), "%s and %s", x, y)
					assert.False(t, a == chemistry.KindAgent && b == chemistry.KindAgent, "two agents without a rinse between are never a go: %s and %s", x, y)
				}
				if !rule.Grade.Decides() {
					assert.Equal(t, chemistry.Care, rule.Verdict, "%s and %s: memory says care", x, y)
				}
			})
		}
	}
	assert.Len(t, set.Cells, cells, "a cell that no pair of the axes has")
	assert.Len(t, set.Families, 54, "the size that doc/chemistry.md names")
	assert.Equal(t, 907, cells, "the size that doc/chemistry.md names")
}

// TestNamesAreUnambiguous: a name that a technician types stands for one family of its axis, and labels tell rules apart.
func TestNamesAreUnambiguous(t *testing.T) {
	t.Parallel()
	seen := make(map[string]bool)
	for _, f := range tables.All().Families {
		for _, name := range append([]string{f.ID}, f.Also...) {
			assert.False(t, seen[f.Kind+name], "%s twice", name)
			seen[f.Kind+name] = true
		}
	}
	rules := make(map[string]bool)
	for _, a := range chemistry.Kinds() {
		for _, b := range chemistry.Kinds() {
			if slices.Index(chemistry.Kinds(), b) < slices.Index(chemistry.Kinds(), a) || !chemistry.Meet(a, b) {
				continue
			}
			eachPair(a, b, func(x, y chemistry.Family) {
				r := chemistry.Compatibility(x, y)
				assert.False(t, rules[r.ID], r.ID)
				rules[r.ID] = true
				found, ok := chemistry.ParsePair(r.ID)
				require.True(t, ok, r.ID)
				assert.Equal(t, r, found)
			})
		}
	}
	for text, agent := range map[string]chemistry.Agent{"vinegar": chemistry.OrganicAcid, "Descaler": chemistry.Acid, "washing soda": chemistry.Alkali} {
		got, err := chemistry.ParseAgent(text)
		require.NoError(t, err)
		assert.Equal(t, agent, got)
	}
	m, err := chemistry.ParseMaterial("PETG")
	require.NoError(t, err)
	assert.Equal(t, chemistry.KindPlastic, m.Family().Kind)
	m, err = chemistry.ParseMaterial(" None")
	require.NoError(t, err)
	assert.Equal(t, chemistry.NoMaterial, m)
	_, err = chemistry.ParseMaterial("oak")
	require.ErrorContains(t, err, "epdm, nbr, acrylic")
}

// TestPairsThatPrintedGo: what once passed, or had no rule, does not.
func TestPairsThatPrintedGo(t *testing.T) {
	t.Parallel()
	clean := func(r chemistry.CleaningRequest) chemistry.Verdict {
		t.Helper()
		reasons, err := chemistry.CheckCleaning(r)
		require.NoError(t, err)
		return chemistry.Judge(reasons)
	}
	agents := func(a ...chemistry.Agent) chemistry.CleaningRequest {
		return chemistry.CleaningRequest{Agents: a, Metals: []chemistry.Metal{chemistry.StainlessSteel}, Materials: []chemistry.Material{chemistry.NoMaterial}}
	}
	bare := agents(chemistry.Acetone)
	assert.Equal(t, chemistry.Go, clean(bare), "what is said of a bare part")
	bare.Materials = nil
	assert.Equal(t, chemistry.Care, clean(bare), "nothing said of seals and plastics")
	bare.Materials = []chemistry.Material{chemistry.NoMaterial, "epdm"}
	_, err := chemistry.CheckCleaning(bare)
	require.ErrorContains(t, err, "not both")
	assert.Equal(t, chemistry.Stop, clean(agents(chemistry.Bleach, chemistry.Alcohol)), "bleach + alcohol: NFPA 2020")
	assert.Equal(t, chemistry.Stop, clean(agents(chemistry.Peroxide, chemistry.Acid)), "peroxide + acid: EPA-600/2-80-076")
	assert.Equal(t, chemistry.Stop, clean(agents(chemistry.Acid, chemistry.Alkali)), "acid + alkali: EPA-600/2-80-076")
	assert.NotEqual(t, chemistry.Go, clean(agents(chemistry.Acid, chemistry.Ammonia)))
	assert.NotEqual(t, chemistry.Go, clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.Bleach}, Biocide: chemistry.Quat}))
	assert.Equal(t, chemistry.Stop, clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.OrganicAcid}, Metals: []chemistry.Metal{chemistry.Steel}}))
	assert.NotEqual(t, chemistry.Go, clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.OrganicAcid}}), "nothing said of what is wetted")
	for _, a := range chemistry.Agents() {
		for _, b := range chemistry.Agents() {
			if a != b {
				assert.NotEqual(t, chemistry.Go, clean(agents(a, b)), "%s and %s", a, b)
			}
		}
	}

	fill := func(c chemistry.Contents, metals ...chemistry.Metal) []chemistry.Reason {
		t.Helper()
		c.Fluid = chemistry.TreatedWater
		reasons, err := chemistry.CheckFill(chemistry.FillRequest{Contents: c, Metals: metals})
		require.NoError(t, err)
		return reasons
	}
	biocide := func(b chemistry.Biocide) []chemistry.Additive {
		return []chemistry.Additive{{Family: chemistry.Family{Kind: chemistry.KindBiocide, ID: string(b)}}}
	}
	nitriteAmine := fill(chemistry.Contents{Inhibitor: chemistry.Nitrite, Additives: []chemistry.Additive{{Family: chemistry.Family{Kind: chemistry.KindInhibitor, ID: "amine"}}}})
	assert.Equal(t, chemistry.Stop, chemistry.Judge(nitriteAmine), "nitrite + amine: TRGS 615")
	assert.Equal(t, chemistry.Stop, chemistry.Judge(fill(chemistry.Contents{Inhibitor: chemistry.Amine, Biocide: chemistry.Bronopol})), "bronopol + amine: CIR 1984")
	assert.Equal(t, chemistry.Care, chemistry.Judge(fill(chemistry.Contents{Inhibitor: chemistry.Amine, Biocide: chemistry.Isothiazolinone})))
	assert.Equal(t, chemistry.Stop, chemistry.Judge(fill(chemistry.Contents{Biocide: chemistry.CopperBiocide}, chemistry.Aluminium)), "20 ppb of copper: Suez handbook")
	assert.Equal(t, chemistry.Stop, chemistry.Judge(fill(chemistry.Contents{Biocide: chemistry.NoBiocide, Additives: biocide(chemistry.SilverBiocide)}, chemistry.Nickel)))
	for _, i := range chemistry.Inhibitors() {
		want := chemistry.Care
		switch i {
		case chemistry.OAT:
			want = chemistry.Go // EP 0 995 785: aluminium, and copper with a triazole
		case chemistry.NoInhibitor:
			want = chemistry.Stop
		}
		assert.Equal(t, want, chemistry.Judge(fill(chemistry.Contents{Inhibitor: i, Biocide: chemistry.NoBiocide}, chemistry.Copper, chemistry.Aluminium)), i)
	}
}
