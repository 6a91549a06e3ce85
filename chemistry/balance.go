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
	Taken                               string // the figures as they were understood
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
		{"strength at the fill", r.Filled.Percent(), 1, 60, "mass %", "1 to 60 mass %"},
		{"strength now", r.Now.Percent(), 1, 60, "mass %", "1 to 60 mass %"},
		{"held", float64(r.Held), 1e-3, 1e5, "kg", "1 g to 100000 kg"},
		{"missing", float64(r.Missing), 0, 0.9 * float64(r.Held), "kg", "0 to nine tenths of what it held"},
		{"strength uncertainty", max(r.FilledUncertainty, r.NowUncertainty).Percent(), 0, 20, "mass %", "0 to 20 mass %"},
		{"strength uncertainty", min(r.FilledUncertainty, r.NowUncertainty).Percent(), 0.01, 20, "mass %", "0.01 to 20 mass %: no instrument is exact"},
		{"mass uncertainty", float64(max(r.HeldUncertainty, r.MissingUncertainty)), 0, float64(r.Held), "kg", "0 to what it held"},
		{"permeation", expected, 0, float64(r.Held), "kg", "0 to what it held"},
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
	b.Leaks = b.Leaked > b.LeakedUncertainty
	b.Evaporates = b.Water > b.WaterUncertainty && b.Leaked >= -b.LeakedUncertainty
	b.Says, b.Taken = b.says(r.SinceDryCheckPassed), r.taken()
	return b, nil
}

// taken echoes the figures, and which of them were taken as exact.
func (r BalanceRequest) taken() string {
	sure := func(u Kilogram) string {
		if u == 0 {
			return ", taken as exact"
		}
		return ", ± " + u.String()
	}
	said := r.Fluid.Name() + ", " + r.Filled.String() + " at the fill and " + r.Now.String() + " now, ± " +
		fixed(r.FilledUncertainty.Percent(), 1) + " and ± " + fixed(r.NowUncertainty.Percent(), 1) + " (k = 2); it held " +
		r.Held.String() + sure(r.HeldUncertainty) + "; " + r.Missing.String() + " are missing" + sure(r.MissingUncertainty)
	if r.Permeation != nil {
		said += "; " + r.Permeation.String() + " of water expected through the tubes, to a factor of two"
	}
	return said
}

func (b Balance) says(dry bool) string {
	water := "water evaporated: " + amountOf(b.Water, b.WaterUncertainty)
	leaked := "coolant leaked: " + amountOf(b.Leaked, b.LeakedUncertainty)
	stays := "; the leak stands until a leak check stays dry"
	if dry {
		stays = "; a leak check stayed dry, so look for a leak that shows only hot or running"
	}
	const apart = "the figures do not go together: "
	switch {
	case b.Leaked < -b.LeakedUncertainty:
		return apart + "there is more glycol than was filled, so concentrate was added, or a figure is wrong. Weigh and read again before a leak is ruled out"
	case b.Water < -b.WaterUncertainty:
		said := apart + "there is more water than was filled, so water was added, or a figure is wrong. Weigh and read again"
		if b.Leaks {
			said += ". " + leaked + stays
		}
		return said
	case b.Evaporates && b.Leaks:
		return "it evaporates and it leaks. " + water + "; " + leaked + stays
	case b.Leaks:
		return "it leaks. " + water + "; " + leaked + stays
	case b.Evaporates:
		return "it evaporates, as tubes let it; a leak is not shown. " + water + "; " + leaked
	}
	return "cannot tell evaporation from a leak: weigh again later, or read the strength with a surer instrument. " + water + "; " + leaked
}

// amountOf says an amount that is shown, and of one that is not how much it may be.
func amountOf(m, u Kilogram) string {
	if m <= u {
		return "at most " + fixed(max(0, m+u).Grams(), 0) + " g"
	}
	return fixed(m.Grams(), 0) + " ± " + fixed(u.Grams(), 0) + " g (k = 2)"
}
