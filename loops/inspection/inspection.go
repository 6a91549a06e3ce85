// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package inspection tells what readings say about a loop that stays closed:
// thermal resistances and flow ([Read]), the apparent heat capacity by a short
// temperature log ([ReadLog], [Analyse]), whether a repair is proved ([Prove]), and when a resistance will pass its limit ([Trend], [Crossing]).
//
// Temperatures are °C, differences K, powers W, resistances K/W, flows l/min,
// heat capacities J/K, times of a log s; uncertainties are k = 2. What cannot
// be told from the readings is left out and named in a [Refusal]; impossible
// input is a [*chemistry.InvalidError].
//
// The package is pure and safe for concurrent use.
package inspection

import (
	"fmt"
	"math"
	"strings"

	"fillmark/chemistry"
)

// ModelNote goes on every screen and sheet that shows a class from a
// temperature log or a fit of faults.
const ModelNote = "The thresholds come from a computed model of a cold plate and its loop, not from measurements on hardware."

// PumpNote is said wherever a pump speed is shown or asked for.
const PumpNote = "Pump speed is not flow: a pump can turn at full speed against a blocked plate or in air."

// MountNote is said wherever the mount resistance is shown.
const MountNote = "The mount resistance cannot tell dry paste or a loose plate from a clogged plate; the rise of the coolant across the plate can, where it is large enough to measure."

// Watt is a heat flow or an electrical power in W.
type Watt float64

// String prints at most one decimal: "65 W".
func (w Watt) String() string { return trim(float64(w), 1) + " W" }

// KelvinPerWatt is a thermal resistance in K/W, with the whole heat of the
// source in the denominator (a thermal characterization parameter, psi).
type KelvinPerWatt float64

// String prints three decimals: "0.115 K/W".
func (r KelvinPerWatt) String() string { return fmt.Sprintf("%.3f K/W", float64(r)) }

// LitrePerMinute is a flow in l/min.
type LitrePerMinute float64

// String prints two decimals: "1.51 l/min".
func (f LitrePerMinute) String() string { return fmt.Sprintf("%.2f l/min", float64(f)) }

// JoulePerKelvin is a heat capacity in J/K.
type JoulePerKelvin float64

// String prints whole joules: "44 J/K".
func (c JoulePerKelvin) String() string { return fmt.Sprintf("%.0f J/K", float64(c)) }

// Measured is a figure with its uncertainty, k = 2.
type Measured[T ~float64] struct {
	Value       T `json:"value"`
	Uncertainty T `json:"uncertainty"` // k = 2
}

// Refusal is something that the readings cannot tell, and what is missing.
type Refusal struct {
	What string `json:"what"`
	Why  string `json:"why"`
}

// Error says what was refused and why, so that a refusal can stand for a
// figure that was asked for alone.
func (r Refusal) Error() string { return r.What + ": " + r.Why }

// Reading is one set of readings of a running loop. Nil is "not read".
type Reading struct {
	Die        *chemistry.Celsius // hottest die or heat source
	CoolantIn  *chemistry.Celsius // into the cold plate; where a cooler shows one coolant temperature, that
	CoolantOut *chemistry.Celsius // out of it
	Set        *chemistry.Celsius // set point of a chiller's leaving coolant
	Room       *chemistry.Celsius // air into the radiator
	Power      *Watt              // heat at the cold plate
	Pump       Watt               // electrical, all of it heats the coolant; zero where not known
	Steady     bool               // the coolant drifted less than 0.1 K/min
	// Fluid and Mass are what is in the loop, for the flow; Mass nil where unknown.
	Fluid chemistry.Fluid
	Mass  *chemistry.MassFraction
	// TemperatureUncertainty is that of each temperature, k = 2; zero reads as
	// [DefaultTemperatureUncertainty].
	TemperatureUncertainty chemistry.CelsiusDelta
	// PowerUncertainty is k = 2; zero reads as [DefaultPowerShare] of the power.
	PowerUncertainty Watt
}

// What is taken where a reading states no uncertainty (common practice, no
// source): a firmware shows whole degrees, a power is seldom known better.
const (
	DefaultTemperatureUncertainty chemistry.CelsiusDelta = 1
	DefaultPowerShare             float64                = 0.10
)

func (r Reading) temperatureUncertainty() float64 {
	if r.TemperatureUncertainty > 0 {
		return float64(r.TemperatureUncertainty)
	}
	return float64(DefaultTemperatureUncertainty)
}

// powerShare is the relative uncertainty of the power, k = 2.
func (r Reading) powerShare() float64 {
	if r.PowerUncertainty > 0 {
		return float64(r.PowerUncertainty / *r.Power)
	}
	return DefaultPowerShare
}

func (r Reading) validate() error {
	for _, t := range [...]struct {
		field string
		value *chemistry.Celsius
	}{{"die", r.Die}, {"coolant in", r.CoolantIn}, {"coolant out", r.CoolantOut}, {"set point", r.Set}, {"room", r.Room}} {
		if t.value != nil && !(*t.value >= -60 && *t.value <= 150) {
			return invalid(t.field, float64(*t.value), "-60 to 150 °C")
		}
	}
	if r.Power != nil && !(*r.Power > 0 && *r.Power <= 1e6) {
		return invalid("power", float64(*r.Power), "more than 0 and at most 1000000 W")
	}
	for _, v := range [...]struct {
		field string
		value float64
	}{{"pump power", float64(r.Pump)}, {"temperature uncertainty", float64(r.TemperatureUncertainty)}, {"power uncertainty", float64(r.PowerUncertainty)}} {
		if !(v.value >= 0 && v.value <= 1e5) {
			return invalid(v.field, v.value, "0 to 100000")
		}
	}
	return nil
}

func invalid(field string, value any, reason string) error {
	return &chemistry.InvalidError{Field: field, Value: fmt.Sprint(value), Reason: reason}
}

// trim prints v with at most the decimals given.
func trim(v float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, v)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// root is the root of a sum of squares.
func root(terms ...float64) float64 {
	sum := 0.0
	for _, t := range terms {
		sum += t * t
	}
	return math.Sqrt(sum)
}
