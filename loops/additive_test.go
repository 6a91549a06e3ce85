// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func biocide(family, product string, life int) loops.Dosed {
	return loops.Dosed{Role: loops.RoleBiocide, Additive: loops.Additive{Family: family, Product: product, LifeMonths: life}}
}

// Each additive keeps its own day and life; the same again is renewed, and all
// of them stay behind with what a drain leaves.
func TestSeveralAdditives(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	filled := fill(d, 0.4)
	filled.Fill.Charge.Additives = []loops.Dosed{biocide("isothiazolinone", "Clear B", 12), {Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "none"}}}
	dose := func(after int, a loops.Dosed) loops.Entry {
		return loops.Entry{Kind: loops.KindDose, Day: d.AddDays(after), By: "test", Dose: &loops.Dose{Role: a.Role, Additive: a.Additive}}
	}
	added := func(a loops.Dosed, after int) loops.Dosed { a.Added = d.AddDays(after); return a }
	history := numbered(filled, dose(10, biocide("bronopol", "", 6)), dose(20, biocide("isothiazolinone", "", 0)), dose(30, biocide("isothiazolinone", "Other", 3)))
	want := []loops.Dosed{
		added(biocide("isothiazolinone", "Clear B", 12), 20), history[0].Fill.Charge.Additives[1],
		added(biocide("bronopol", "", 6), 10), added(biocide("isothiazolinone", "Other", 3), 30),
	}
	state := loops.Fold(history)
	assert.Equal(t, want, state.Charge.Additives)
	assert.Len(t, state.Charge.Having(loops.RoleBiocide), 3)
	assert.Empty(t, state.Charge.Having(loops.RoleInhibitor), "a known none is not one")
	contents := state.Charge.Contents()
	assert.Equal(t, chemistry.Isothiazolinone, contents.Biocide)
	assert.Equal(t, chemistry.NoInhibitor, contents.Inhibitor)
	assert.Len(t, contents.Additives, 2, "the others each for itself")

	drain := loops.Entry{Kind: loops.KindDrain, Day: d.AddDays(40), By: "test", Drain: &loops.Drain{}}
	clean := loops.Entry{Kind: loops.KindClean, Day: d.AddDays(41), By: "test", Clean: &loops.Cleaning{Agents: []chemistry.Agent{chemistry.Acid}}}
	flush := loops.Entry{Kind: loops.KindFlush, Day: d.AddDays(42), By: "test"}
	left := loops.Fold(numbered(append(history, drain, clean)...))
	assert.Equal(t, want, left.Remains.Additives)
	assert.Equal(t, []chemistry.Agent{chemistry.Acid}, left.Agents)
	assert.Empty(t, loops.Fold(numbered(append(history, drain, clean, flush)...)).Agents)
}

// A charge of one inhibitor and one biocide, as it was once written, is read as
// a list; an unknown field is refused as anywhere.
func TestChargeAsItWasWritten(t *testing.T) {
	t.Parallel()
	var c loops.Charge
	require.NoError(t, json.Unmarshal([]byte(`{"fluid":"propylene-glycol","origin":"workshop","filled_to":"2026-01-10","biocide":{"family":"bronopol","life_months":6}}`), &c))
	assert.Equal(t, []loops.Dosed{biocide("bronopol", "", 6)}, c.Additives)
	text, err := json.Marshal(c)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"additives":[{"role":"biocide","family":"bronopol","life_months":6}]`)
	var again loops.Charge
	require.NoError(t, json.Unmarshal(text, &again))
	assert.Equal(t, c, again)
	assert.ErrorContains(t, json.Unmarshal([]byte(`{"fluid":"water","colour":"blue"}`), &c), "colour")
}

// A second product of a family stands beside the first, or takes its place where
// that is said; it never takes that of another family.
func TestInsteadOfTheOldOne(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	filled := fill(d, 0.4)
	filled.Fill.Charge.Additives = []loops.Dosed{biocide("isothiazolinone", "Clear B", 12), biocide("bronopol", "", 6)}
	other := biocide("isothiazolinone", "Other", 3)
	assert.Equal(t, filled.Fill.Charge.Additives[:1], filled.Fill.Charge.Rivals(other))
	assert.Empty(t, filled.Fill.Charge.Rivals(biocide("isothiazolinone", "clear b", 0)), "the same again is a renewal")
	assert.Empty(t, filled.Fill.Charge.Rivals(biocide("quat", "New", 0)))
	for instead, want := range map[bool]int{true: 2, false: 3} {
		dose := loops.Entry{Kind: loops.KindDose, Day: d.AddDays(30), By: "test", Dose: &loops.Dose{Role: other.Role, Additive: other.Additive, Instead: instead}}
		got := loops.Fold(numbered(filled, dose)).Charge.Additives
		require.Len(t, got, want)
		assert.Equal(t, "Other", got[want-1].Product)
	}
}
