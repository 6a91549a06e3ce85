// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// crossing finds where a deviance, zero at best and rising away from it,
// reaches target on the way from best to bound. The square root of a deviance
// is nearly a straight line, so that a secant on it needs few steps; the
// bracket that is kept makes it safe. It ends when the root of the deviance is
// right to the relative precision given, and returns bound if the target is not
// reached before it.
func crossing(best, bound, step, target, precision float64, deviance func(float64) float64) float64 {
	root := math.Sqrt(target)
	miss := func(x float64) float64 { return math.Sqrt(math.Max(0, deviance(x))) - root }
	near, nearMiss := best, -root
	far := best + step
	farMiss := 0.0
	for {
		if (far-bound)*step >= 0 {
			far = bound
		}
		farMiss = miss(far)
		if farMiss >= 0 {
			break
		}
		if far == bound {
			return bound
		}
		near, nearMiss = far, farMiss
		step *= 2
		far += step
	}
	for i := range 100 {
		x := near + (far-near)*nearMiss/(nearMiss-farMiss)
		if i%4 == 3 || math.IsInf(farMiss, 1) || math.IsNaN(x) {
			x = near + (far-near)/2
		}
		m := miss(x)
		if m < 0 {
			near, nearMiss = x, m
		} else {
			far, farMiss = x, m
		}
		if math.Abs(m) < precision*root || math.Abs(far-near) <= 1e-14*(math.Abs(near)+math.Abs(far)) {
			return x
		}
	}
	return near + (far-near)/2
}
