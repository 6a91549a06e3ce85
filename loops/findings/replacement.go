// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
)

// Replacement is the age at which a renewal in time costs least per month.
type Replacement struct {
	Age    float64 // +Inf where to run to failure is cheapest
	Failed float64 // share that fails before it
	// Cost per month, and that of running to failure, in planned renewals.
	Cost, CostToFailure float64
	Saving              float64 // 1 - Cost/CostToFailure
}

// AgeReplacement finds the age at which to renew in time if a failure costs
// costRatio times a planned renewal, after Barlow and Proschan (1965). For a
// shape of at most 1 or a ratio of at most 1 there is none.
func AgeReplacement(shape, scale, costRatio float64) (Replacement, error) {
	for _, v := range []struct {
		name  string
		value float64
	}{{"shape", shape}, {"scale", scale}, {"cost ratio", costRatio}} {
		if !(v.value > 0) || math.IsInf(v.value, 1) {
			return Replacement{}, &InvalidError{Column: v.name, Value: fmt.Sprint(v.value), Reason: "a figure above 0 is right"}
		}
	}
	mean := scale * math.Gamma(1+1/shape)
	toFailure := Replacement{Age: math.Inf(1), Failed: 1, Cost: costRatio / mean, CostToFailure: costRatio / mean}
	if shape <= 1 || costRatio <= 1 {
		return toFailure, nil
	}
	// x is the cumulative hazard at the age. The optimum is where the hazard
	// rate times the mean time in use, less the share failed, outgrows the
	// ratio; it rises with x.
	inUse := func(x float64) float64 { return mean * lowerGamma(1/shape, x) }
	outgrows := func(x float64) bool {
		rate := shape / scale * math.Pow(x, 1-1/shape)
		return rate*inUse(x)+math.Expm1(-x) >= 1/(costRatio-1)
	}
	const far = 700 // nothing is left by then
	if !outgrows(far) {
		return toFailure, nil
	}
	x := bisect(0, far, outgrows)
	failed := -math.Expm1(-x)
	out := Replacement{Age: scale * math.Pow(x, 1/shape), Failed: failed, CostToFailure: toFailure.Cost}
	out.Cost = (1 - failed + costRatio*failed) / inUse(x)
	out.Saving = 1 - out.Cost/out.CostToFailure
	return out, nil
}
