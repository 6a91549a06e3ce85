// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/chemistry/tables"
)

// checkRows reads a file of check values without comments and heading.
func checkRows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open("../testdata/chemistry/" + file)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	return rows[1:]
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

var fluidOf = map[string]chemistry.Fluid{
	"EG": chemistry.EthyleneGlycol, "PG": chemistry.PropyleneGlycol, "water": chemistry.DeionisedWater,
}

// TestKnownAnswers holds every row of known_answers.csv, which names source and reason of its tolerance.
func TestKnownAnswers(t *testing.T) {
	t.Parallel()
	kinds := make(map[string]int)
	for _, r := range checkRows(t, "known_answers.csv") {
		kinds[r[9]]++
		id, quantity, fluid, basis := r[0], r[1], fluidOf[r[2]], r[3]
		t.Run(id+" "+quantity+" "+r[2], func(t *testing.T) {
			t.Parallel()
			var x chemistry.MassFraction
			if r[4] != "" {
				x = chemistry.MassFraction(float(t, r[4]))
			}
			var at chemistry.Celsius
			if r[5] != "" {
				at = chemistry.Celsius(float(t, r[5]))
			}
			got := knownAnswer(t, quantity, basis, fluid, x, at)
			assert.InDelta(t, float(t, r[6]), got, float(t, r[8]), "source: %s", r[11])
		})
	}
	assert.Equal(t, map[string]int{"code": 25, "data": 14, "physics": 2, "same": 9}, kinds, "rows of kind same check nothing but the transcription")
}

func knownAnswer(t *testing.T, quantity, basis string, f chemistry.Fluid, x chemistry.MassFraction, at chemistry.Celsius) float64 {
	t.Helper()
	if strings.HasPrefix(quantity, "t_freeze_ashrae") && basis == "volume" {
		x = massAtPrintedVolume(t, f, 100*float64(x)) // the table's own column, not volume before mixing
	}
	must := func(v float64, err error) float64 {
		t.Helper()
		require.NoError(t, err)
		return v
	}
	freeze := func() chemistry.Freeze {
		z, err := chemistry.FreezePoint(f, x)
		require.NoError(t, err)
		return z
	}
	switch quantity {
	case "t_freeze":
		return float64(freeze().Melinder)
	case "t_freeze_ashrae":
		return float64(freeze().ASHRAE)
	case "t_freeze_warmest":
		return float64(freeze().Stated)
	case "freeze_depression":
		return -float64(freeze().Melinder)
	case "density":
		d, err := chemistry.Density(f, x, at)
		return must(d.KilogramsPerCubicMetre(), err)
	case "cp":
		c, err := chemistry.SpecificHeat(f, x, at)
		return must(float64(c), err)
	case "conductivity":
		return float64(props(t, f, x, at).Conductivity)
	case "viscosity":
		return float64(props(t, f, x, at).Viscosity) / 1000
	case "nd":
		n, err := chemistry.IndexAt(f, x, at)
		return must(float64(n), err)
	case "nd_brix":
		return float64(chemistry.BrixIndex(chemistry.Brix(x.Percent())))
	case "brix":
		return float64(props(t, f, x, 20).Brix20)
	case "n_iapws":
		return iapwsIndex(997.047435, 298.15, 0.5893)
	case "vol_pct_ashrae":
		return table(f).PrintedVolume[int(math.Round(x.Percent()))]
	case "vol_pct_premix", "vol_pct_ashrae_vs_premix":
		v, err := chemistry.VolumeFractionOf(f, x)
		return must(v.Percent(), err)
	case "mass_pct_from_premix":
		m, err := chemistry.MassFractionOf(f, chemistry.VolumeFraction(x))
		return must(m.Percent(), err)
	case "contraction":
		return contraction(t, f, x, at)
	case "t_boil_ashrae":
		return float64(props(t, f, x, 20).Boiling)
	}
	require.Fail(t, "no check for "+quantity)
	return 0
}

// props are the properties of a liquid that the tables answer for.
func props(t require.TestingT, f chemistry.Fluid, x chemistry.MassFraction, at chemistry.Celsius) chemistry.Properties {
	p, err := chemistry.Props(f, x, at)
	require.NoError(t, err)
	return p
}

// statedAccuracy is how far a property may be off, relative, as the sources beside it say.
func statedAccuracy(t require.TestingT, f chemistry.Fluid, inhibited bool, at chemistry.Celsius) map[string]float64 {
	x, says := chemistry.MassFraction(0), "accuracy (k = 2): "
	if f.IsGlycol() {
		x = chemistry.MaxMassFraction
		if inhibited {
			says = "of a bought, inhibited product: "
		}
	}
	out := make(map[string]float64)
	for _, source := range props(t, f, x, at).Sources {
		_, list, _ := strings.Cut(source, says)
		for part := range strings.SplitSeq(list, ", ") {
			for name, word := range map[string]string{"density": "density", "cp": "specific heat", "conductivity": "conductivity", "viscosity": "viscosity"} {
				if figure, ok := strings.CutPrefix(strings.TrimSuffix(part, " %"), word+" "); ok && list != "" {
					v, err := strconv.ParseFloat(figure, 64)
					require.NoError(t, err)
					out[name] = v / 100
				}
			}
		}
	}
	require.Len(t, out, 4)
	return out
}

func table(f chemistry.Fluid) *tables.Glycol {
	if f == chemistry.EthyleneGlycol {
		return tables.Ethylene()
	}
	return tables.Propylene()
}

func massAtPrintedVolume(t *testing.T, f chemistry.Fluid, percent float64) chemistry.MassFraction {
	t.Helper()
	for mass, volume := range table(f).PrintedVolume {
		if math.Abs(volume-percent) < 1e-9 {
			return chemistry.MassFraction(mass) / 100
		}
	}
	require.Fail(t, "no printed row", "%v vol %%", percent)
	return 0
}

// contraction is the volume lost on mixing pure glycol with water, in percent of the volumes before.
func contraction(t *testing.T, f chemistry.Fluid, x chemistry.MassFraction, at chemistry.Celsius) float64 {
	t.Helper()
	mixed, err := chemistry.Density(f, x, at)
	require.NoError(t, err)
	water, err := chemistry.Density(chemistry.DeionisedWater, 0, at)
	require.NoError(t, err)
	before := float64(x)*1000/table(f).Pure.Density20 + float64(1-x)/float64(water)
	return 100 * (1 - 1/float64(mixed)/before)
}

// iapwsIndex is the IAPWS 1997 release on the refractive index of water relative to vacuum, written down independently of the
// program; TestWaterIndex compares the two.
func iapwsIndex(rho, kelvin, micrometre float64) float64 {
	a := [8]float64{0.244257733, 0.0097463448, -0.00373235, 0.0002686785, 0.0015892057, 0.0024593426, 0.90070492, -0.0166626219}
	d, th, l2 := rho/1000, kelvin/273.15, math.Pow(micrometre/0.589, 2)
	const uv, ir = 0.229202, 5.432937
	r := d * (a[0] + a[1]*d + a[2]*th + a[3]*l2*th + a[4]/l2 + a[5]/(l2-uv*uv) + a[6]/(l2-ir*ir) + a[7]*d*d)
	return math.Sqrt((1 + 2*r) / (1 - r))
}

func TestWaterIndex(t *testing.T) {
	t.Parallel()
	for at := 0.0; at <= 40; at += 2.5 {
		n, err := chemistry.IndexAt(chemistry.DeionisedWater, 0, chemistry.Celsius(at))
		require.NoError(t, err)
		// Made relative to air. ICUMSA, which gives the value at 20 °C, prints five decimals.
		assert.InDelta(t, iapwsIndex(kell(at), at+273.15, 0.5893)/1.000271, float64(n), 1.5e-5, "%v °C", at)
	}
}
