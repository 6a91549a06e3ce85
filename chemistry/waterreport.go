// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"slices"
	"strings"

	"fillmark/chemistry/tables"
)

// WaterReport is what a laboratory, a water works or a strip says of a water or of the liquid in a loop. Nil is not measured. Conductivity is in µS/cm at 25 °C,
// hardness in mg/l as CaCO3 (see [ParseHardness]), the others in mg/l.
type WaterReport struct {
	PH           *float64
	Conductivity *float64
	Hardness     *float64
	Chloride     *float64
	Sulfate      *float64
	Calcium      *float64
	Magnesium    *float64
	Iron         *float64
	Copper       *float64
}

func (w WaterReport) value(parameter string) *float64 {
	switch parameter {
	case "pH":
		return w.PH
	case "conductivity":
		return w.Conductivity
	case "hardness":
		return w.Hardness
	case "chloride":
		return w.Chloride
	case "sulfate":
		return w.Sulfate
	case "calcium":
		return w.Calcium
	case "magnesium":
		return w.Magnesium
	case "iron":
		return w.Iron
	case "copper":
		return w.Copper
	}
	return nil
}

// WaterUse is a set of limits from one kind of source. Sources disagree, so one is chosen and named.
type WaterUse struct {
	ID     string
	Title  string
	Fluids []Fluid // for which it is meant
	InUse  bool    // limits for the liquid in the loop, not for water that goes in
}

// WaterUses returns the sets of limits meant for a fluid, or all for the empty one.
func WaterUses(f Fluid) []WaterUse {
	var out []WaterUse
	for _, l := range tables.All().WaterLimits {
		if f != "" && !slices.Contains(l.Fluids, string(f)) || slices.ContainsFunc(out, func(u WaterUse) bool { return u.ID == l.Use }) {
			continue
		}
		u := WaterUse{ID: l.Use, Title: l.Title, InUse: l.Kind == "coolant"}
		for _, fluid := range l.Fluids {
			u.Fluids = append(u.Fluids, Fluid(fluid))
		}
		out = append(out, u)
	}
	return out
}

// WaterLine is one parameter of a report against one limit.
type WaterLine struct {
	Parameter string
	Unit      string
	Value     *float64 // nil: not measured
	Min, Max  float64  // ±Inf where there is no limit
	Verdict   Verdict  // [Go] inside, [Stop] outside, [Care] not measured; [Care] at most where the limit is from memory
	Source    string
	Grade     Grade
}

// CheckWater holds a report against the limits of one use for a fluid, and returns a line for each limit and the verdict on all. A
// use that is not meant for the fluid and impossible figures are an [*InvalidError].
func CheckWater(w WaterReport, f Fluid, use string) ([]WaterLine, Verdict, error) {
	if err := f.check(); err != nil {
		return nil, "", err
	}
	uses := WaterUses(f)
	if !slices.ContainsFunc(uses, func(u WaterUse) bool { return u.ID == use }) {
		names := make([]string, len(uses))
		for i, u := range uses {
			names[i] = u.ID
		}
		return nil, "", &InvalidError{"water limits", use, "for " + f.Name() + " one of " + strings.Join(names, ", ")}
	}
	if err := w.check(); err != nil {
		return nil, "", err
	}
	verdict := Go
	var lines []WaterLine
	for _, l := range tables.All().WaterLimits {
		if l.Use != use {
			continue
		}
		v := w.value(l.Parameter)
		line := WaterLine{l.Parameter, waterUnit(l.Parameter), v, l.Min, l.Max, Go, l.Source, Grade(l.Grade)}
		switch {
		case v == nil:
			line.Verdict = Care
		case *v < l.Min || *v > l.Max:
			line.Verdict = Stop
			if !line.Grade.Decides() {
				line.Verdict = Care
			}
		}
		verdict = verdict.Max(line.Verdict)
		lines = append(lines, line)
	}
	return lines, verdict, nil
}

// WaterRules are the limits of one use as rules, each with its own source; none for an id that is none.
func WaterRules(use string) []Rule {
	var out []Rule
	for _, l := range tables.All().WaterLimits {
		if l.Use != use {
			continue
		}
		r := Rule{ID: use, When: l.Title + ": " + l.Parameter, Verdict: Stop, Text: limitWords(l.Parameter, l.Min, l.Max), Source: l.Source, Grade: Grade(l.Grade)}
		if !r.Grade.Decides() {
			r.Verdict = Care
		}
		out = append(out, r)
	}
	return out
}

// Limit is the limit in words with its unit, such as "at most 25 mg/l".
func (l WaterLine) Limit() string { return limitWords(l.Parameter, l.Min, l.Max) }

// limitWords are the limits of a parameter in words, such as "5 to 9" or "at most 25 mg/l".
func limitWords(parameter string, low, high float64) string {
	unit := strings.TrimRight(" "+waterUnit(parameter), " ")
	switch {
	case math.IsInf(low, 0):
		return "at most " + decimal(high) + unit
	case math.IsInf(high, 0):
		return "at least " + decimal(low) + unit
	}
	return decimal(low) + " to " + decimal(high) + unit
}

// parameters are what a report may say, in the order people list them.
func parameters() []string {
	return []string{"pH", "conductivity", "hardness", "chloride", "sulfate", "calcium", "magnesium", "iron", "", "copper"}
}

// check refuses figures that no water has.
func (w WaterReport) check() error {
	for _, parameter := range parameters() {
		high, want := 1e6, "0 to 1000000 "+waterUnit(parameter)
		if parameter == "pH" {
			high, want = 14, "0 to 14"
		}
		if v := w.value(parameter); v != nil {
			if err := checkBounds([]bound{{parameter, *v, 0, high, waterUnit(parameter), want}}); err != nil {
				return err
			}
		}
	}
	return nil
}

// NotJudged returns the parameters that the report says and lines have no limit for.
func (w WaterReport) NotJudged(lines []WaterLine) []string {
	var out []string
	for _, parameter := range parameters() {
		if w.value(parameter) != nil && !slices.ContainsFunc(lines, func(l WaterLine) bool { return l.Parameter == parameter }) {
			out = append(out, parameter)
		}
	}
	return out
}

func waterUnit(parameter string) string {
	switch parameter {
	case "pH":
		return ""
	case "conductivity":
		return "µS/cm"
	case "hardness":
		return "mg/l CaCO3"
	}
	return "mg/l"
}

// ParseHardness reads a hardness and returns mg/l as CaCO3: "100ppm", "100mg/l", "5.6dH" (German degrees), "10fH" (French), "7e"
// (English, Clark), "1mmol/l", "5gpg" (grains per US gallon). Negative, beyond 100 000 mg/l or without unit it is an
// [*InvalidError].
func ParseHardness(s string) (float64, error) {
	const want = "a hardness such as 100ppm, 5.6dH, 10fH, 7e, 1mmol/l or 5gpg"
	v, unit, err := split(s, want)
	if err != nil {
		return 0, err
	}
	// mg/l of CaCO3 (100.09 g/mol) for one of each; a German degree is 10 mg/l CaO (56.08 g/mol).
	factor, ok := map[string]float64{
		"ppm": 1, "mg/l": 1, "mg/lcaco3": 1, "ppmcaco3": 1, "dh": 17.848, "°dh": 17.848, "fh": 10, "°fh": 10,
		"e": 14.254, "°e": 14.254, "clark": 14.254, "mmol/l": 100.09, "gpg": 17.118,
	}[unit]
	v *= factor
	switch {
	case !ok:
		return 0, invalid(s, unitReason(unit, want))
	case v < 0 || v > 1e5 || math.IsNaN(v):
		return 0, invalid(s, want+"; no water is that hard")
	}
	return v, nil
}
