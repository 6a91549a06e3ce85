// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"strconv"
	"strings"
)

// ParseCelsius reads an absolute temperature with its unit: "-20C", "-20.5 °C", "68F". It accepts what [Celsius.String]
// prints. A difference ("20K"), a missing unit and anything below absolute zero or above 1000 °C is an [*InvalidError].
func ParseCelsius(s string) (Celsius, error) {
	const want = "a temperature such as -20C or 68F"
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "c", "°c", "ºc", "degc":
	case "f", "°f", "ºf", "degf":
		v = (v - 32) / 1.8
	case "k":
		return 0, invalid(s, want+"; K is a temperature difference here")
	default:
		return 0, invalid(s, unitReason(unit, want))
	}
	if v < -273.15 || v > 1000 {
		return 0, invalid(s, want+"; this is no temperature at a bench")
	}
	return Celsius(v), nil
}

// ParseCelsiusDelta reads a temperature difference with its unit: "5K", "9F" (a difference of 9 °F is 5 K). It accepts what
// [CelsiusDelta.String] prints. A temperature in °C and anything above 1000 K is an [*InvalidError].
func ParseCelsiusDelta(s string) (CelsiusDelta, error) {
	const want = "a temperature difference such as 5K or 9F"
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "k":
	case "f", "°f", "degf":
		v /= 1.8
	case "c", "°c", "degc":
		return 0, invalid(s, want+"; C is a temperature")
	default:
		return 0, invalid(s, unitReason(unit, want))
	}
	if math.Abs(v) > 1000 {
		return 0, invalid(s, want+"; this is none at a bench")
	}
	return CelsiusDelta(v), nil
}

// ParseLitre reads a volume with its unit: "600ml", "1.2l", "500cc", "12 US fl oz", "1 imp gal". A gallon and a fluid ounce say whose. It accepts what [Litre.String] prints. A negative volume
// or one above 1 000 000 l is an [*InvalidError].
func ParseLitre(s string) (Litre, error) {
	// US customary and imperial measures by definition (NIST SP 811, Weights and Measures Act 1985).
	v, err := amount(s, "a volume such as 600ml, 1.2l, 12usfloz or 1impgal", map[string]float64{
		"ml": 0.001, "millilitre": 0.001, "millilitres": 0.001, "cc": 0.001, "ccm": 0.001, "cm3": 0.001, "cm³": 0.001, "cl": 0.01, "dl": 0.1,
		"l": 1, "litre": 1, "litres": 1, "liter": 1, "liters": 1,
		"usgal": 3.785411784, "usqt": 0.946352946, "usfloz": 0.0295735295625,
		"impgal": 4.54609, "impqt": 1.1365225, "impfloz": 0.0284130625, "ukgal": 4.54609, "ukfloz": 0.0284130625,
		"gal": 0, "floz": 0, "oz": 0, "qt": 0,
	})
	return Litre(v), err
}

// ParseKilogram reads a mass with its unit: "120g", "1.2kg", "4oz", "1lb" (avoirdupois). It accepts what [Kilogram.String] prints. A negative mass or one
// above 1 000 000 kg is an [*InvalidError].
func ParseKilogram(s string) (Kilogram, error) {
	v, err := amount(s, "a mass such as 120g, 1.2kg or 4oz", map[string]float64{"mg": 1e-6, "g": 0.001, "kg": 1, "oz": 0.028349523125, "lb": 0.45359237, "lbs": 0.45359237})
	return Kilogram(v), err
}

// ParseMassPercent reads a mass percentage: "40%", "40.0 mass %". It accepts what [MassFraction.String] prints. A volume
// percentage, a number without % and anything outside 0 to 100 % is an [*InvalidError].
func ParseMassPercent(s string) (MassFraction, error) {
	v, err := parsePercent(s, "mass %", "vol %", "%mass", "mass%")
	return MassFraction(v), err
}

// ParseVolumePercent reads a volume percentage before mixing at 20 °C: "40%", "37.4 vol %". It accepts what
// [VolumeFraction.String] prints. A mass percentage, a number without % and anything outside 0 to 100 % is an
// [*InvalidError].
func ParseVolumePercent(s string) (VolumeFraction, error) {
	v, err := parsePercent(s, "vol %", "mass %", "%vol", "vol%")
	return VolumeFraction(v), err
}

// ParseBrix reads a Brix reading: "28.4brix", "28.4 °Bx", "28.4". It accepts what [Brix.String] prints. Outside −5 to 100 it is
// an [*InvalidError].
func ParseBrix(s string) (Brix, error) {
	const want = "a Brix reading such as 28.4brix"
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "", "brix", "°brix", "bx", "°bx", "%brix":
	default:
		return 0, invalid(s, unitReason(unit, want))
	}
	if v < -5 || v > 100 {
		return 0, invalid(s, "0 to 100, as the Brix scale runs")
	}
	return Brix(v), nil
}

// ParseRefractiveIndex reads a refractive index nD: "1.3790". It accepts what [RefractiveIndex.String] prints. Outside 1.3 to
// 1.55 it is an [*InvalidError].
func ParseRefractiveIndex(s string) (RefractiveIndex, error) {
	const want = "a refractive index nD such as 1.3790"
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	if unit != "" && unit != "nd" {
		return 0, invalid(s, unitReason(unit, want))
	}
	if v < 1.3 || v > 1.55 {
		return 0, invalid(s, want+"; water shows 1.3330 and a coolant up to 1.43")
	}
	return RefractiveIndex(v), nil
}

// ParseDensity reads a density: "1035" or "1035kg/m3" in kg/m³, "1.035kg/l", "1.035g/ml", or a specific gravity against water at
// 20 °C: "1.035", "SG 1.035". It accepts what
// [KilogramPerLitre.String] prints. Outside 0.5 to 2 kg/l it is an [*InvalidError].
func ParseDensity(s string) (KilogramPerLitre, error) {
	const want = "a density such as 1035 (kg/m3), 1.035kg/l or 1.035sg"
	text := strings.TrimSpace(s)
	gravity := false
	if n := len(text); n > 2 && strings.EqualFold(text[:2], "sg") {
		text, gravity = strings.TrimSpace(text[2:]), true
	} else if n > 2 && strings.EqualFold(text[n-2:], "sg") {
		text, gravity = strings.TrimSpace(text[:n-2]), true
	}
	v, unit, err := split(text, want)
	if err != nil {
		return 0, err
	}
	switch {
	case gravity && unit == "", unit == "" && v < 2:
		v *= waterDensity(20) / 1000 // against water at 20 °C
		unit = "kg/l"
	}
	switch unit {
	case "", "kg/m3", "kg/m³", "g/l":
		v /= 1000
	case "kg/l", "g/ml", "g/cm3", "g/cm³", "kg/dm3":
	default:
		return 0, invalid(s, unitReason(unit, want))
	}
	if v < 0.5 || v > 2 {
		return 0, invalid(s, want+"; no coolant has this density")
	}
	return KilogramPerLitre(v), nil
}

// ParseNumber reads a number that stands for itself: "40", "1.5", "1,5", "1e-3". What [ParseLitre] refuses of a number is
// refused here as well: a comma that may mean thousands, a range, more than 1e9; and anything behind it.
func ParseNumber(s string) (float64, error) {
	const want = "a number such as 40 or 1.5"
	v, unit, err := split(s, want)
	switch {
	case err != nil:
		return 0, err
	case unit != "":
		return 0, invalid(s, want)
	}
	return v, nil
}

// split takes a text apart into a number and a unit in lower case without spaces. Not a number, infinities and numbers beyond
// 1e9 are refused here once for all.
func split(s, want string) (value float64, unit string, err error) {
	text := strings.NewReplacer("−", "-", "–", "-", "\u00a0", " ", "\u202f", " ").Replace(strings.TrimSpace(s))
	if isRange(strings.ReplaceAll(strings.ReplaceAll(strings.ReplaceAll(strings.ToLower(text), " ", ""), "to", "-"), "%-", "-")) {
		return 0, "", invalid(s, "the one figure that holds here; this is a range")
	}
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.,0123456789", r) })
	if end < 0 {
		end = len(text)
	}
	// An exponent belongs to the number, so that 1e308 is refused for its size and not for an unknown unit.
	if rest := text[end:]; rest != "" && (rest[0] == 'e' || rest[0] == 'E') {
		digits := len(rest) - len(strings.TrimLeft(rest[1:], "+-0123456789")) - 1
		if digits > 0 {
			end += 1 + digits
		}
	}
	digits, err := decimalPoint(text[:end])
	if err != nil {
		return 0, "", invalid(s, want+"; "+err.Error())
	}
	value, numErr := strconv.ParseFloat(digits, 64)
	switch {
	case numErr != nil && math.IsInf(value, 0), math.Abs(value) > 1e9:
		return 0, "", invalid(s, want+"; this is far too large")
	case numErr != nil:
		return 0, "", invalid(s, want+"; this is no number")
	}
	return value, strings.ToLower(strings.ReplaceAll(text[end:], " ", "")), nil
}

// isRange reports whether a text begins with two figures and a dash between them: "0.5-1%", and not "1e-3l" or "-20C".
func isRange(text string) bool {
	const figures = ".,0123456789"
	from, to, ok := strings.Cut(strings.TrimPrefix(text, "-"), "-")
	return ok && from != "" && strings.Trim(from, figures) == "" && to != "" && strings.ContainsRune(figures, rune(to[0]))
}

// errorText is an error known at compile time.
type errorText string

func (e errorText) Error() string { return string(e) }

// decimalPoint accepts one decimal comma. Before exactly three digits a comma could as well separate thousands, so "1,200" is
// refused rather than guessed.
func decimalPoint(s string) (string, error) {
	before, after, found := strings.Cut(s, ",")
	if !found {
		return s, nil
	}
	if strings.ContainsAny(after, ",.") || strings.Contains(before, ".") || len(after) == 3 {
		return "", errorText("this comma may mean thousands, so write a point for decimals and nothing for thousands")
	}
	return before + "." + after, nil
}

func amount(s, want string, units map[string]float64) (float64, error) {
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	// "US fl oz" is written with the unit's owner before or behind: "12 US fl oz", "1 gal US".
	for _, owner := range []string{"us", "imp", "uk"} {
		if base, ok := strings.CutSuffix(strings.NewReplacer("(", "", ")", "", ".", "", "imperial", "imp").Replace(unit), owner); ok && base != "" {
			unit = owner + base
		}
	}
	unit = strings.NewReplacer(".", "", "imperial", "imp", "gallons", "gal", "gallon", "gal", "ounces", "oz", "ounce", "oz").Replace(unit)
	factor, ok := units[unit]
	switch {
	case ok && factor == 0:
		return 0, invalid(s, "us"+unit+" or imp"+unit+": US and imperial differ")
	case !ok:
		return 0, invalid(s, unitReason(unit, want))
	case v < 0:
		return 0, invalid(s, want+"; this is negative")
	case v*factor > 1e6:
		return 0, invalid(s, want+"; this is far too large")
	}
	return v * factor, nil
}

func parsePercent(s, basis, other string, more ...string) (float64, error) {
	want := "a percentage such as 40% (" + basis + ")"
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	ok := unit == "%"
	for _, u := range append(more, basis) {
		ok = ok || unit == strings.ReplaceAll(u, " ", "")
	}
	if !ok {
		if unit == strings.ReplaceAll(other, " ", "") {
			return 0, invalid(s, basis+"; this is "+other+", which is a different number")
		}
		return 0, invalid(s, unitReason(unit, want))
	}
	if v < 0 || v > 100 {
		return 0, invalid(s, "a percentage between 0 and 100 %")
	}
	return v / 100, nil
}

func unitReason(unit, want string) string {
	switch unit {
	case "":
		return want + "; this has no unit"
	case "ppm":
		return want + "; ppm counts by mass or by volume, and the label or data sheet says which"
	}
	return want + "; the unit " + strconv.Quote(unit) + " does not fit"
}

func invalid(value, reason string) *InvalidError { return &InvalidError{Value: value, Reason: reason} }
