// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// normalQuantile is the p quantile of the standard normal distribution.
func normalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }

// chiSquareTail is the probability that chi-squared with df degrees of
// freedom exceeds x.
func chiSquareTail(x float64, df int) float64 {
	if x <= 0 {
		return 1
	}
	return mathext.GammaIncRegComp(float64(df)/2, x/2)
}

// chiSquareOne is the p quantile of chi-squared with one degree of freedom.
func chiSquareOne(p float64) float64 {
	z := normalQuantile((1 + p) / 2)
	return z * z
}

// tQuantile is the p quantile of Student's t with df degrees of freedom, for
// p above one half.
func tQuantile(p float64, df int) float64 {
	nu := float64(df)
	x := mathext.InvRegIncBeta(nu/2, 0.5, 2*(1-p))
	return math.Sqrt(nu * (1 - x) / x)
}

// gammaQuantile is the p quantile of the gamma distribution of shape a and
// rate 1.
func gammaQuantile(p, a float64) float64 { return mathext.GammaIncRegInv(a, p) }

// betaQuantile is the p quantile of the beta distribution.
func betaQuantile(p, a, b float64) float64 { return mathext.InvRegIncBeta(a, b, p) }

// logChoose is the logarithm of n over k.
func logChoose(n, k int) float64 {
	return logFactorial(n) - logFactorial(k) - logFactorial(n-k)
}

func logFactorial(n int) float64 {
	l, _ := math.Lgamma(float64(n) + 1)
	return l
}

// logSum is the logarithm of the sum of exponentials.
func logSum(terms []float64) float64 {
	most, sum := math.Inf(-1), 0.0
	for _, t := range terms {
		most = math.Max(most, t)
	}
	for _, t := range terms {
		sum += math.Exp(t - most)
	}
	return most + math.Log(sum)
}

// bisect halves [lo, hi] until it cannot, and returns where rises changes
// from false to true.
func bisect(lo, hi float64, rises func(float64) bool) float64 {
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			break
		}
		if rises(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo + (hi-lo)/2
}
