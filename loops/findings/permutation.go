// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// Bounds of the exact test. Chi-squared is kept where both groups have
// manyFailures and there are more than mostDeals ways to deal the lives;
// measured type-I errors are in doc/findings.md.
const (
	manyFailures = 5
	mostDeals    = 1e6
)

// scoreClass is a number of lives that weigh the same in a log-rank test:
// whether they failed, less the cumulative hazard up to their end.
type scoreClass struct {
	score float64
	count int
}

// permutationP is the exact two-sided p of two groups: the share of all ways
// to deal the lives to groups of these sizes in which observed and expected
// failures differ at least as much. It is NaN where it is not wanted, and
// rough is set where it is wanted and out of reach.
func permutationP(lives Lives, groups []GroupCount) (p float64, rough bool) {
	n, k := groups[0].N+groups[1].N, min(groups[0].N, groups[1].N)
	small := math.Min(groups[0].Observed, groups[1].Observed) < manyFailures
	if logChoose(n, k) > math.Log(mostDeals)+1e-9 && !small {
		return math.NaN(), false
	}
	classes := scoreClasses(lives)
	if deals(classes, k) > 2*mostDeals {
		return math.NaN(), true
	}
	left := make([]int, len(classes)+1) // lives in this class and those after it
	ways := make([][]float64, len(classes))
	for i := len(classes) - 1; i >= 0; i-- {
		left[i] = left[i+1] + classes[i].count
		for take := range min(k, classes[i].count) + 1 {
			ways[i] = append(ways[i], logChoose(classes[i].count, take))
		}
	}
	far := math.Abs(groups[0].Observed - groups[0].Expected)
	far -= 1e-9 * (1 + far) // sums of equal scores differ in their last digits
	total := 0.0
	var deal func(class, k int, sum, logWays float64)
	deal = func(class, k int, sum, logWays float64) {
		if class == len(classes) {
			if math.Abs(sum) >= far {
				total += math.Exp(logWays)
			}
			return
		}
		c := classes[class]
		for take := max(0, k-left[class+1]); take <= min(k, c.count); take++ {
			deal(class+1, k-take, sum+float64(take)*c.score, logWays+ways[class][take])
		}
	}
	deal(0, k, 0, -logChoose(n, k))
	return math.Min(1, total), false
}

// scoreClasses gathers the lives of both groups by their score.
func scoreClasses(lives Lives) []scoreClass {
	var out []scoreClass
	add := func(score float64, count int) {
		if last := len(out) - 1; last >= 0 && out[last].score == score {
			out[last].count += count
		} else if count > 0 {
			out = append(out, scoreClass{score, count})
		}
	}
	hazard := 0.0
	for at := range lives.risks(0) {
		hazard += float64(at.failures) / float64(at.atRisk)
		add(1-hazard, at.failures)
		add(-hazard, at.censored)
	}
	return out
}

// deals counts the distinguishable ways to take k lives from the classes, +Inf
// where the counting alone would take too long.
func deals(classes []scoreClass, k int) float64 {
	if float64(len(classes))*float64(k) > mostDeals {
		return math.Inf(1)
	}
	ways, before := make([]float64, k+1), make([]float64, k+2)
	ways[0] = 1
	for _, c := range classes {
		for taken, w := range ways {
			before[taken+1] = before[taken] + w
		}
		for taken := range ways {
			ways[taken] = before[taken+1] - before[max(0, taken-c.count)]
		}
	}
	return ways[k]
}
