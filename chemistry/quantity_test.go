// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func TestParseCelsius(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]float64{
		"-20C": -20, "−5 °C": -5, "–5 °C": -5, "68F": 20, "1,5C": 1.5, " 20.25 c ": 20.25, "-0.0 °C": 0,
	} {
		got, err := chemistry.ParseCelsius(in)
		require.NoError(t, err, in)
		assert.InDelta(t, want, float64(got), 1e-9, in)
	}
}

// TestParseRefuses: each bad text gets one error that repeats it and says what would be right.
func TestParseRefuses(t *testing.T) {
	t.Parallel()
	celsius := func(s string) error { _, err := chemistry.ParseCelsius(s); return err }
	delta := func(s string) error { _, err := chemistry.ParseCelsiusDelta(s); return err }
	litre := func(s string) error { _, err := chemistry.ParseLitre(s); return err }
	kilogram := func(s string) error { _, err := chemistry.ParseKilogram(s); return err }
	percent := func(s string) error { _, err := chemistry.ParseMassPercent(s); return err }
	volume := func(s string) error { _, err := chemistry.ParseVolumePercent(s); return err }
	for _, tt := range []struct {
		name  string
		parse func(string) error
		in    string
		want  string // part of the reason
	}{
		{"difference for temperature", celsius, "20K", "temperature difference"},
		{"temperature for difference", delta, "5C", "temperature difference such as 5K"},
		{"no unit", celsius, "20", "no unit"},
		{"not a number", celsius, "NaN", "no number"},
		{"infinity", celsius, "-Inf", "no number"},
		{"overflow", celsius, "1e308C", "too large"},
		{"beyond float", litre, "1e999l", "too large"},
		{"below absolute zero", celsius, "-300C", "no temperature"},
		{"thousands or decimals", litre, "1,200ml", "comma"},
		{"mass for volume", litre, "5kg", "volume such as"},
		{"negative", kilogram, "-5g", "negative"},
		{"too much", percent, "140%", "between 0 and 100"},
		{"bare fraction", percent, "0.4", "no unit"},
		{"other basis", percent, "40 vol %", "mass %; this is vol %"},
		{"other basis too", volume, "40 mass %", "vol %; this is mass %"},
		{"empty", kilogram, "", "no number"},
		{"a label's range", volume, "0.5-1%", "the one figure that holds here; this is a range"},
		{"with a long dash", volume, "0.5 % – 1 %", "a range"},
		{"in words", kilogram, "1 to 2g", "a range"},
		{"of cold", celsius, "-5-10C", "a range"},
		{"parts of what", kilogram, "300ppm", "by mass or by volume"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var invalid *chemistry.InvalidError
			require.ErrorAs(t, tt.parse(tt.in), &invalid)
			assert.Equal(t, tt.in, invalid.Value)
			assert.Contains(t, invalid.Reason, tt.want)
		})
	}
}

// TestTradeUnits: what technicians write. Factors by definition: NIST SP 811 (US), Weights and Measures Act 1985 (imperial).
func TestTradeUnits(t *testing.T) {
	t.Parallel()
	for text, ml := range map[string]float64{
		"500cc": 500, "12 US fl oz": 354.882, "12 fl oz US": 354.882, "1usgal": 3785.412, "1 gal (US)": 3785.412, "1 imp gal": 4546.09, "20 imp fl oz": 568.261,
	} {
		v, err := chemistry.ParseLitre(text)
		require.NoError(t, err, text)
		assert.InDelta(t, ml, v.Millilitres(), 0.001, text)
	}
	for _, text := range []string{"1gal", "12 fl oz", "3 qt"} {
		_, err := chemistry.ParseLitre(text)
		require.ErrorContains(t, err, "US and imperial differ", text)
	}
	for text, g := range map[string]float64{"4oz": 113.398, "1lb": 453.592, "2 lbs": 907.185} {
		m, err := chemistry.ParseKilogram(text)
		require.NoError(t, err, text)
		assert.InDelta(t, g, m.Grams(), 0.001, text)
	}
	for text, d := range map[string]float64{"1035": 1035, "1.035": 1033.14, "SG 1.035": 1033.14, "1.035sg": 1033.14, "1.035kg/l": 1035} {
		v, err := chemistry.ParseDensity(text)
		require.NoError(t, err, text)
		assert.InDelta(t, d, v.KilogramsPerCubicMetre(), 0.01, text)
	}
}
