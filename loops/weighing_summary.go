// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"math"

	"fillmark/chemistry"
)

// WeighingSummary is what the weighings of a loop tell: how much is in it and how much
// was lost, without opening it.
type WeighingSummary struct {
	Weights Weights   `json:"weights"`
	Amounts *ByWeight `json:"amounts,omitempty"`
	// Loss is nil while there are no two comparable weighings.
	Loss *WeighedLoss `json:"loss,omitempty"`
	// Warning says why the weights cannot be used; empty where they can.
	Warning string `json:"warning,omitempty"`
}

// benchSpread is how far the liquid may be from 20 °C when it is weighed and
// measured at the bench, k = 2 (common practice, no source).
const benchSpread = 5

// WeighingSummaryOf works out the weighings in a loop's history with the density of its
// charge at the bench; nil where nothing was weighed.
func WeighingSummaryOf(loop Loop, history []Entry) *WeighingSummary {
	if len(WeighingsOf(history)) == 0 {
		return nil
	}
	scale := &WeighingSummary{Weights: WeightsOf(history)}
	if loss, ok := WeighedLossOf(history); ok {
		scale.Loss = &loss
	}
	density, uncertainty, ok := benchDensity(loop.State.Charge)
	if !ok {
		scale.Warning = "the strength of the charge is not known, so its density is not: grams only"
		return scale
	}
	amounts, err := scale.Weights.Amounts(density, uncertainty)
	if err != nil {
		scale.Warning = err.Error()
		return scale
	}
	scale.Amounts = &amounts
	return scale
}

// benchDensity is the density of a charge at 20 °C and its uncertainty (k = 2)
// from the strength's and the bench's, first order.
func benchDensity(c *Charge) (density, uncertainty chemistry.KilogramPerLitre, ok bool) {
	if c == nil || c.Mass == nil {
		return 0, 0, false
	}
	const bench = chemistry.Celsius(20)
	density, err := chemistry.LiquidDensity(c.Fluid, *c.Mass, bench)
	if err != nil {
		return 0, 0, false
	}
	aside := func(mass chemistry.MassFraction, at chemistry.Celsius) float64 {
		other, err := chemistry.LiquidDensity(c.Fluid, mass, at)
		if err != nil {
			return 0 // at the table's edge the other side would be as good
		}
		return float64(other - density)
	}
	byStrength := aside(max(0, *c.Mass-c.MassUncertainty), bench)
	byHeat := aside(*c.Mass, bench+benchSpread)
	return density, chemistry.KilogramPerLitre(math.Hypot(byStrength, byHeat)), true
}
