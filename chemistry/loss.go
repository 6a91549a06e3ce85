// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"fmt"
	"math"
	"strings"

	"fillmark/chemistry/tables"
)

// Tube is a length of tube in a loop.
type Tube struct {
	Material string  // as in [TubeMaterials]
	Length   float64 // m
	Inner    float64 // inner diameter, mm
	Outer    float64 // outer diameter, mm
}

// LossRequest asks how much water leaves through tube walls.
type LossRequest struct {
	Tubes    []Tube
	Fluid    Fluid
	Mass     MassFraction
	Coolant  Celsius // when running
	Air      Celsius
	Humidity float64 // relative humidity of the air, 0 to 1
	Duty     float64 // share of the time running, 0 to 1; at rest the coolant is at Air
}

// Loss is an estimate of the water that leaves a loop through its tube walls. The glycol stays behind.
type Loss struct {
	GramsPerYear float64  `json:"grams_per_year"`
	Drive        float64  `json:"drive_pa"` // vapour pressure difference while running, Pa
	Grade        Grade    `json:"grade"`    // the weakest of the permeabilities used: nearly always from memory
	Sources      []string `json:"sources"`
	Advice       string   `json:"advice"`
}

// TubeMaterials returns the materials whose permeability is known, the tightest first.
func TubeMaterials() []string {
	var out []string
	for _, p := range tables.All().Permeabilities {
		out = append(out, p.Material)
	}
	return out
}

// PermeationLoss estimates the water lost through tube walls: Fick's law through a cylinder wall, 2πL·P·Δp/ln(outer/inner), with
// the vapour pressure of water over the coolant (Raoult's law) against that in the air. It is an estimate within a factor of
// two or more; a loop's own weighed loss beats it. Unknown materials and impossible dimensions are an [*InvalidError].
func PermeationLoss(r LossRequest) (Loss, error) {
	if err := checkFraction(r.Fluid, r.Mass); err != nil {
		return Loss{}, err
	}
	if err := checkBounds([]bound{
		{"coolant temperature", float64(r.Coolant), -40, 100, "°C", "-40 to 100 °C"},
		{"air temperature", float64(r.Air), -20, 60, "°C", "-20 to 60 °C"},
		{"humidity", r.Humidity, 0, 1, "", "a relative humidity between 0 and 100 %"},
		{"duty", r.Duty, 0, 1, "", "a share of the time between 0 and 1"},
	}); err != nil {
		return Loss{}, err
	}
	if ice := freeze(r.Fluid, r.Mass).Stated; r.Coolant < ice {
		return Loss{}, &InvalidError{"coolant temperature", decimal(float64(r.Coolant)), fmt.Sprintf("above %s, where this liquid begins to freeze", ice)}
	}
	const secondsPerYear = 365.25 * 86400
	activity := waterActivity(r.Fluid, r.Mass)
	outside := r.Humidity * vapourPressure(float64(r.Air))
	running := max(0, activity*vapourPressure(float64(r.Coolant))-outside)
	resting := max(0, activity*vapourPressure(float64(r.Air))-outside)
	drive := r.Duty*running + (1-r.Duty)*resting
	loss := Loss{Drive: running, Grade: Secondary, Advice: "Weigh the machine at hand-over and at every visit, and trust the grams"}
	if running == 0 {
		loss.Advice = "While it runs, the cold liquid takes no water out through the tube: the air holds as much or more. " + loss.Advice
	}
	if v := property(r.Fluid, r.Mass, r.Coolant, viscosity); MillipascalSecond(1000*v) > thick {
		loss.Advice += fmt.Sprintf(". At %s the liquid is thick, %.0f mPa·s: see fillmark props", r.Coolant, 1000*v)
	}
	for _, t := range r.Tubes {
		p, err := permeability(t)
		if err != nil {
			return Loss{}, err
		}
		shape := 2 * math.Pi * t.Length / math.Log(t.Outer/t.Inner)
		loss.GramsPerYear += shape * p.Value * drive * secondsPerYear
		if Grade(p.Grade) == FromMemory || Grade(p.Grade) == Practice && loss.Grade != FromMemory {
			loss.Grade = Grade(p.Grade)
		}
		loss.Sources = append(loss.Sources, p.Material+": "+p.Source)
	}
	loss.Sources = append(loss.Sources, "vapour pressure: NBS relation of 1970; activity of water: Raoult's law")
	return loss, nil
}

func permeability(t Tube) (tables.Permeability, error) {
	if err := checkBounds([]bound{
		{"tube length", t.Length, 0, 1000, "m", "0 to 1000 m"},
		{"tube inner diameter", t.Inner, 0.1, 500, "mm", "0.1 to 500 mm"},
		{"tube outer diameter", t.Outer, t.Inner * 1.001, 1000, "mm", "more than the inner diameter, in mm"},
	}); err != nil {
		return tables.Permeability{}, err
	}
	for _, p := range tables.All().Permeabilities {
		if strings.EqualFold(p.Material, t.Material) {
			return p, nil
		}
	}
	return tables.Permeability{}, &InvalidError{"tube material", t.Material, "one of " + strings.Join(TubeMaterials(), ", ")}
}

// vapourPressure is the saturation pressure of water in Pa, t in °C (NBS relation of 1970, in mmHg there). Below 0 °C it is carried on over
// undercooled water, as a glycol mix is: at -10 °C within 1 % of the 286.5 Pa of Goff and Gratch (1946).
func vapourPressure(t float64) float64 {
	return 133.322 * math.Pow(10, 8.10765-1750.286/(t+235))
}

// waterActivity is the mole fraction of water (Raoult's law).
func waterActivity(f Fluid, x MassFraction) float64 {
	if !f.IsGlycol() {
		return 1
	}
	const water = 18.015 // g/mol
	n := (1 - float64(x)) / water
	return n / (n + float64(x)/f.glycol().Pure.MolarMass)
}
