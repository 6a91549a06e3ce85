// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
)

// TestCautions: whatever is in a loop has a caution that defers to the data sheet, for the technician and for the owner.
func TestCautions(t *testing.T) {
	t.Parallel()
	for _, f := range append(chemistry.Fluids(), "") {
		for _, b := range append(chemistry.Biocides(), "") {
			for _, i := range append(chemistry.Inhibitors(), "") {
				cautions := chemistry.Cautions(chemistry.Contents{Fluid: f, Biocide: b, Inhibitor: i})
				require.NotEmpty(t, cautions)
				assert.NotEmpty(t, cautions[0].OwnerText)
				for _, c := range cautions {
					assert.Contains(t, c.Text, "safety data sheet")
					assert.NotEmpty(t, c.Source)
					assert.NotEmpty(t, c.Grade)
					for _, s := range append(c.H, c.P...) {
						code, text, _ := strings.Cut(s, " ")
						assert.NotEmpty(t, text, "%s has no text", code)
					}
				}
			}
		}
	}
	for _, task := range []chemistry.Task{chemistry.TaskOpen, chemistry.TaskClean, chemistry.TaskDose, chemistry.TaskTest, chemistry.TaskWaste} {
		assert.NotEmpty(t, chemistry.TaskCautions(task), task)
	}
}

// TestEthyleneCaution: poison is said at any strength; the statements follow from the strength (CLP mixture rules, from memory).
func TestEthyleneCaution(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		x      *chemistry.MassFraction
		signal string
		codes  []string
	}{
		{"unknown strength", nil, "Warning", []string{"H302", "H373"}},
		{"forty", mass(0.40), "Warning", []string{"H302", "H373"}},
		{"twenty", mass(0.20), "Warning", []string{"H373"}},
		{"five", mass(0.05), "", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := chemistry.Cautions(chemistry.Contents{Fluid: chemistry.EthyleneGlycol, Mass: tt.x})[0]
			assert.Equal(t, tt.signal, c.Signal)
			var codes []string
			for _, s := range c.H {
				codes = append(codes, s[:4])
			}
			assert.Equal(t, tt.codes, codes)
			for _, words := range []string{"poison centre", "children", "do not induce vomiting"} {
				assert.Contains(t, c.Text, words)
			}
			assert.Contains(t, c.OwnerText, "poison")
		})
	}
}

// TestProtect: what a wall asks for counts the margin.
func TestProtect(t *testing.T) {
	t.Parallel()
	p, err := chemistry.Protect(-15, nil)
	require.NoError(t, err)
	assert.InDelta(t, -20, float64(p.Target), 1e-12)
	assert.True(t, p.CanFreeze)
	p, err = chemistry.Protect(3, nil)
	require.NoError(t, err)
	assert.True(t, p.CanFreeze, "within the margin")
	p, err = chemistry.Protect(3, new(chemistry.CelsiusDelta(2)))
	require.NoError(t, err)
	assert.False(t, p.CanFreeze)
	assert.Contains(t, strings.Join(p.Advice, " "), "25 vol %")
	var invalid *chemistry.InvalidError
	_, err = chemistry.Protect(3, new(chemistry.CelsiusDelta(-1)))
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "margin", invalid.Field)
}

func TestDose(t *testing.T) {
	t.Parallel()
	d := chemistry.Dose{Name: "inhibitor", PerLitre: 0.010, Density: 1.1, SpentBelow: 0.7}
	m, v, err := d.Amount(2, 0)
	require.NoError(t, err)
	assert.InDelta(t, 20, m.Grams(), 1e-9)
	assert.InDelta(t, 20/1.1, v.Millilitres(), 1e-9)
	m, _, err = d.Amount(2, 0.75)
	require.NoError(t, err)
	assert.InDelta(t, 5, m.Grams(), 1e-9, "what is missing")

	byVolume := chemistry.Dose{Name: "biocide", Volume: 0.002}
	m, v, err = byVolume.Amount(2, 0)
	require.NoError(t, err)
	assert.Zero(t, m, "no density, no grams")
	assert.InDelta(t, 4, v.Millilitres(), 1e-9)

	level := chemistry.DoseLevel{Name: "inhibitor", Level: 1, SpentBelow: 0.7}
	assert.False(t, level.Diluted(0.8).Spent())
	assert.True(t, level.Diluted(0.6).Spent())
	_, _, err = chemistry.Dose{Name: "guess"}.Amount(1, 0)
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid, "no dose is ever suggested")
}

// TestTopUpDilutesDose: 60 ml of water in 500 ml leave 500/560 of a dose; what the label calls spent is care.
func TestTopUpDilutesDose(t *testing.T) {
	t.Parallel()
	r := chemistry.TopUpRequest{
		Fluid: chemistry.TreatedWater, Holds: 0.500, Room: 0.060, Inhibitor: chemistry.Azole, Metals: copper(), With: []chemistry.Liquid{water()},
		Doses: []chemistry.DoseLevel{{Name: "inhibitor", Level: 1, SpentBelow: 0.8}}, Protect: celsius(18),
	}
	v, err := chemistry.CheckTopUp(r)
	require.NoError(t, err)
	require.Len(t, v.Doses, 1)
	assert.InDelta(t, 500.0/560, v.Doses[0].Level, 0.002)
	assert.Equal(t, chemistry.Go, v.Verdict)
	r.Doses[0].Level = 0.85
	v, err = chemistry.CheckTopUp(r)
	require.NoError(t, err)
	assert.Equal(t, chemistry.Care, v.Verdict)
	require.Len(t, v.Reasons, 1)
	assert.Contains(t, v.Reasons[0].Text, "inhibitor at 76 % of the dose")
}

// TestRinses: (left/volume)^n is below the residue, and one rinse fewer is not.
func TestRinses(t *testing.T) {
	t.Parallel()
	n, share, err := chemistry.Rinses(0.015, 0.090, 0.01)
	require.NoError(t, err)
	assert.Equal(t, 3, n, "a sixth, a thirty-sixth, a two hundred and sixteenth")
	assert.InDelta(t, 1.0/216, share, 1e-12)
	rapid.Check(t, func(t *rapid.T) {
		volume := chemistry.Litre(rapid.Float64Range(0.01, 10).Draw(t, "volume"))
		left := volume * chemistry.Litre(rapid.Float64Range(0.01, 0.9).Draw(t, "left"))
		residue := rapid.Float64Range(1e-6, 1).Draw(t, "residue")
		n, share, err := chemistry.Rinses(left, volume, residue)
		require.NoError(t, err)
		assert.LessOrEqual(t, share, residue*(1+1e-6))
		if n > 0 {
			assert.Greater(t, share*float64(volume/left), residue*(1-1e-6))
		}
	})
	_, _, err = chemistry.Rinses(0.1, 0.1, 0.01)
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
}

// TestPermeationLoss: what permeates is water, by vapour pressure.
func TestPermeationLoss(t *testing.T) {
	t.Parallel()
	loss, err := chemistry.PermeationLoss(chemistry.LossRequest{
		Tubes: []chemistry.Tube{{Material: "epdm", Length: 0.7, Inner: 7, Outer: 12}}, Fluid: chemistry.TreatedWater,
		Coolant: 40, Air: 25, Humidity: 0.5, Duty: 0,
	})
	require.NoError(t, err)
	assert.Positive(t, loss.GramsPerYear, "at rest the air still takes water")
	assert.Equal(t, chemistry.FromMemory, loss.Grade)
	_, err = chemistry.PermeationLoss(chemistry.LossRequest{Tubes: []chemistry.Tube{{Material: "steel", Length: 1, Inner: 7, Outer: 12}}, Fluid: chemistry.TreatedWater})
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
}

// TestGlycolCost: glycol carries less and flows harder, the more the more there is of it.
func TestGlycolCost(t *testing.T) {
	t.Parallel()
	for _, f := range glycols {
		last := chemistry.Cost{RelativeHeat: 1, RelativeViscosity: 1, RelativeFlow: 1}
		for _, x := range []chemistry.MassFraction{0.1, 0.25, 0.4, 0.6} {
			c, err := chemistry.GlycolCost(f, x, 25)
			require.NoError(t, err)
			assert.Less(t, c.RelativeHeat, last.RelativeHeat+0.01, "%s %v", f, x)
			assert.Greater(t, c.RelativeViscosity, last.RelativeViscosity)
			assert.InDelta(t, 1, c.RelativeHeat*c.RelativeFlow, 1e-12)
			last = c
		}
	}
}

// Below 0 °C the comparison is with water at 0 °C. 43 mass % propylene glycol at -10 °C is 26 mPa·s (read from Melinder, IIR 2010); and over
// undercooled water at -10 °C there are 286.5 Pa (Goff and Gratch 1946): half of what hangs in a room of 20 °C and 25 %, so nothing leaves.
func TestColdLoops(t *testing.T) {
	t.Parallel()
	c, err := chemistry.GlycolCost(chemistry.PropyleneGlycol, 0.43, -10)
	require.NoError(t, err)
	assert.InDelta(t, 26, float64(c.Viscosity), 1)
	assert.Equal(t, chemistry.Celsius(0), c.ComparedAt)
	assert.Contains(t, c.Warning, "thick")
	warm, err := chemistry.GlycolCost(chemistry.PropyleneGlycol, 0.43, 20)
	require.NoError(t, err)
	assert.Empty(t, warm.Warning)
	r := chemistry.LossRequest{
		Tubes: []chemistry.Tube{{Material: "epdm", Length: 0.7, Inner: 7, Outer: 12}}, Fluid: chemistry.PropyleneGlycol, Mass: 0.43,
		Coolant: -10, Air: 20, Humidity: 0, Duty: 1,
	}
	dry, err := chemistry.PermeationLoss(r)
	require.NoError(t, err)
	activity := 0.57 / 18.015 / (0.57/18.015 + 0.43/76.094)
	assert.InEpsilon(t, 286.5*activity, dry.Drive, 0.015)
	r.Humidity = 0.25
	room, err := chemistry.PermeationLoss(r)
	require.NoError(t, err)
	assert.Zero(t, room.Drive)
	assert.Zero(t, room.GramsPerYear)
}

// TestCleaningCautions: the cautions are of the agents that are used and of no other, and always defer to the data sheet.
func TestCleaningCautions(t *testing.T) {
	t.Parallel()
	names := func(agents ...chemistry.Agent) []string {
		var out []string
		for _, c := range chemistry.CleaningCautions(agents) {
			assert.Contains(t, c.Text, "data sheet", c.Substance)
			out = append(out, c.Substance)
		}
		return out
	}
	assert.Equal(t, []string{"acid", "bleach", "cleaning", "cleaning"}, names(chemistry.Bleach, chemistry.Acid))
	assert.Equal(t, []string{"isopropanol", "cleaning", "cleaning"}, names(chemistry.Alcohol))
	for _, a := range []chemistry.Agent{chemistry.Acid, chemistry.Alkali, chemistry.Bleach, chemistry.Ammonia, chemistry.Peroxide} {
		c := chemistry.CleaningCautions([]chemistry.Agent{a})[0]
		assert.Equal(t, "Danger", c.Signal, a)
		assert.NotEmpty(t, c.H, a)
		assert.NotEmpty(t, c.P, a)
	}
}

// TestCleaningWithBiocideInTheLoop: an oxidising biocide that is still in the loop counts as bleach.
func TestCleaningWithBiocideInTheLoop(t *testing.T) {
	t.Parallel()
	for agent, rule := range map[chemistry.Agent]string{chemistry.Acid: "acid+oxidising-biocide", chemistry.Ammonia: "ammonia+oxidising-biocide"} {
		reasons, err := chemistry.CheckCleaning(chemistry.CleaningRequest{Agents: []chemistry.Agent{agent}, Biocide: chemistry.Oxidiser})
		require.NoError(t, err)
		assert.Equal(t, chemistry.Stop, chemistry.Judge(reasons), agent)
		assert.Contains(t, rulesOf(reasons), rule)
	}
}
