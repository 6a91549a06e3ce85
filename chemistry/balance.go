// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "math"

// BalanceRequest asks where the liquid went that is missing from a loop.
type BalanceRequest struct {
	Fluid               Fluid        // eg or pg: without glycol nothing tells water from coolant
	Filled, Now         MassFraction // strength at the fill and now
	FilledUncertainty   MassFraction // k = 2
	NowUncertainty      MassFraction // k = 2
	Held                Kilogram     // liquid in the loop at the fill
	HeldUncertainty     Kilogram     // k = 2
	Missing             Kilogram     // by two weighings of the machine, or the gap times the density
	MissingUncertainty  Kilogram     // k = 2
	Permeation          *Kilogram    // water that [PermeationLoss] expects in that time; nil: not estimated
	SinceDryCheckPassed bool         // a leak check since the fill stayed dry
}

// Balance splits what is missing. Uncertainties are k = 2.
type Balance struct {
	Water, Leaked                       Kilogram
	WaterUncertainty, LeakedUncertainty Kilogram
	Evaporates, Leaks                   bool // more than its own uncertainty
	Says                                string
}

// permeationUncertainty is how far (k = 2, relative) an estimate of [PermeationLoss] may be off: a factor of two, and often more.
const permeationUncertainty = 1.0

// Split balances glycol and mass (GUM, first order): water leaves glycol behind, a leak takes it along at the mean of both strengths, and
// the estimated permeation is weighed against that by its own uncertainty. More missing than there was, a strength beyond the tables and
// a fluid without glycol are errors as in [FreezePoint].
func Split(r BalanceRequest) (Balance, error) {
	for _, x := range []MassFraction{r.Filled, r.Now} {
		if err := checkFraction(r.Fluid, x); err != nil {
			return Balance{}, err
		}
	}
	if !r.Fluid.IsGlycol() {
		return Balance{}, noGlycol(r.Fluid)
	}
	var expected float64
	if r.Permeation != nil {
		expected = float64(*r.Permeation)
	}
	if err := checkBounds([]bound{
		{"strength at the fill", r.Filled.Percent(), 1, 60, "1 to 60 mass %"},
		{"strength now", r.Now.Percent(), 1, 60, "1 to 60 mass %"},
		{"held", float64(r.Held), 1e-3, 1e5, "1 g to 100000 kg"},
		{"missing", float64(r.Missing), 0, 0.9 * float64(r.Held), "0 to nine tenths of what it held"},
		{"strength uncertainty", max(r.FilledUncertainty, r.NowUncertainty).Percent(), 0, 20, "0 to 20 mass %"},
		{"mass uncertainty", float64(max(r.HeldUncertainty, r.MissingUncertainty)), 0, float64(r.Held), "0 to what it held"},
		{"permeation", expected, 0, float64(r.Held), "0 to what it held"},
	}); err != nil {
		return Balance{}, err
	}
	held, missing, before, now := float64(r.Held), float64(r.Missing), float64(r.Filled), float64(r.Now)
	left, mean := held-missing, (before+now)/2
	glycol := held*before - left*now // gone with what leaked
	leaked := glycol / mean
	// Slopes of the leaked mass against held, missing, the strength before and now, each times its uncertainty.
	parts := [4]float64{
		(before - now) / mean * float64(r.HeldUncertainty),
		now / mean * float64(r.MissingUncertainty),
		(held/mean - glycol/(2*mean*mean)) * float64(r.FilledUncertainty),
		(-left/mean - glycol/(2*mean*mean)) * float64(r.NowUncertainty),
	}
	missingPart := [4]float64{1: float64(r.MissingUncertainty)}
	water, trust := missing-leaked, 1.0 // share of the balance in the answer; the rest is the estimate
	var waterVariance, estimate float64
	for i, p := range parts {
		waterVariance += (missingPart[i] - p) * (missingPart[i] - p)
	}
	if r.Permeation != nil {
		// An estimate of next to nothing is no surer than what the scale tells.
		estimate = max(permeationUncertainty*expected, float64(r.MissingUncertainty), 1e-4)
		trust = estimate * estimate / (estimate*estimate + waterVariance)
	}
	b := Balance{Water: Kilogram(trust*water + (1-trust)*expected)}
	b.Leaked = r.Missing - b.Water
	var w, l float64
	for i, p := range parts {
		own := trust * (missingPart[i] - p)
		w += own * own
		l += (missingPart[i] - own) * (missingPart[i] - own)
	}
	rest := (1 - trust) * estimate
	b.WaterUncertainty, b.LeakedUncertainty = Kilogram(math.Hypot(math.Sqrt(w), rest)), Kilogram(math.Hypot(math.Sqrt(l), rest))
	b.Evaporates, b.Leaks = b.Water > b.WaterUncertainty, b.Leaked > b.LeakedUncertainty
	b.Says = b.says(r.SinceDryCheckPassed)
	return b, nil
}

func (b Balance) says(dry bool) string {
	water := "water evaporated: " + amountOf(b.Water, b.WaterUncertainty)
	leaked := "coolant leaked: " + amountOf(b.Leaked, b.LeakedUncertainty)
	stays := "; the leak stands until a leak check stays dry"
	if dry {
		stays = "; a leak check stayed dry, so look for a leak that shows only hot or running"
	}
	switch {
	case b.Evaporates && b.Leaks:
		return "it evaporates and it leaks. " + water + "; " + leaked + stays
	case b.Leaks:
		return "it leaks. " + leaked + stays
	case b.Evaporates:
		return "it evaporates, as tubes let it; a leak is not shown. " + water + "; " + leaked
	}
	return "cannot tell evaporation from a leak: weigh again later, or read the strength with a surer instrument. " + water + "; " + leaked
}

func amountOf(m, u Kilogram) string {
	return fixed(m.Grams(), 0) + " ± " + fixed(u.Grams(), 0) + " g (k = 2)"
}
