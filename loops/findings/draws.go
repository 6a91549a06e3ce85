// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// manyDraws is the number of draws from which their sum is taken as normal; up
// to there its distribution is exact.
const manyDraws = 400

// sum is the distribution of how many draws fall to the group.
type sum interface {
	// tails are the probabilities of below, equal to and above k, and the mean,
	// with the group's share of each draw counted exp(logRatio) times.
	tails(k int, logRatio float64) (below, equal, above, mean float64)
	// ends are the least and the largest that can be.
	ends() (first, last int)
}

func (d draws) distribution() sum {
	n := 0
	for _, x := range d {
		n += x.count
	}
	if n > manyDraws {
		return d.binned()
	}
	w := exactSum{logs: []float64{0}}
	for _, x := range d {
		w = w.plus(x)
	}
	return w
}

// shareBins is how many shares are told apart where draws are many.
const shareBins = 1 << 12

// binned adds draws of nearly one share up to one of their mean share, so that
// limits are sought over thousands of draws and not over all failures. The mean
// at the ratio 1 stays as it is, and the variance to within 1e-4 of itself. What
// is certain stays apart.
func (d draws) binned() draws {
	if len(d) <= shareBins {
		return d
	}
	var out draws
	bins := make(draws, shareBins+1)
	for _, x := range d {
		if x.share < certain || x.share > 1-certain {
			out = append(out, x)
			continue
		}
		b := &bins[int(x.share*shareBins)]
		b.share += x.share * float64(x.count)
		b.count += x.count
	}
	for _, b := range bins {
		if b.count > 0 {
			out = append(out, draw{share: b.share / float64(b.count), count: b.count})
		}
	}
	return out
}

// certain is how near to 0 or 1 a share counts as such: it is a quotient of
// sums and may be off in its last digits.
const certain = 1e-12

// exactSum is the logarithm of the weight of first, first+1, ... at the ratio 1.
type exactSum struct {
	first int
	logs  []float64
}

// plus is the distribution with some more draws.
func (s exactSum) plus(d draw) exactSum {
	switch {
	case d.share < certain:
		return s
	case d.share > 1-certain:
		return exactSum{s.first + d.count, s.logs}
	}
	yes, no := math.Log(d.share), math.Log1p(-d.share)
	out := exactSum{first: s.first, logs: make([]float64, len(s.logs)+d.count)}
	terms := make([]float64, 0, d.count+1)
	for k := range out.logs {
		terms = terms[:0]
		for i := max(0, k-len(s.logs)+1); i <= min(k, d.count); i++ {
			terms = append(terms, s.logs[k-i]+logChoose(d.count, i)+float64(i)*yes+float64(d.count-i)*no)
		}
		out.logs[k] = logSum(terms)
	}
	return out
}

func (s exactSum) ends() (first, last int) { return s.first, s.first + len(s.logs) - 1 }

func (s exactSum) tails(k int, logRatio float64) (below, equal, above, mean float64) {
	most := math.Inf(-1)
	for i, l := range s.logs {
		most = math.Max(most, l+float64(i)*logRatio)
	}
	for i, l := range s.logs {
		p := math.Exp(l + float64(i)*logRatio - most)
		mean += p * float64(s.first+i)
		switch at := s.first + i; {
		case at < k:
			below += p
		case at == k:
			equal += p
		default:
			above += p
		}
	}
	total := below + equal + above
	return below / total, equal / total, above / total, mean / total
}

func (d draws) ends() (first, last int) {
	for _, x := range d {
		if x.share > 1-certain {
			first += x.count
		}
		if x.share >= certain {
			last += x.count
		}
	}
	return first, last
}

// tails of many draws are those of the normal distribution with their mean and
// variance, k taking the span of one half on either side.
func (d draws) tails(k int, logRatio float64) (below, equal, above, mean float64) {
	variance, against := 0.0, math.Exp(-logRatio)
	for _, x := range d {
		p := x.share / (x.share + (1-x.share)*against)
		mean += float64(x.count) * p
		variance += float64(x.count) * p * (1 - p)
	}
	if variance == 0 {
		variance = math.SmallestNonzeroFloat64
	}
	beyond := func(x float64) float64 { return math.Erfc((x-mean)/math.Sqrt(2*variance)) / 2 }
	above = beyond(float64(k) + 0.5)
	below = 1 - beyond(float64(k)-0.5)
	return below, 1 - below - above, above, mean
}

// farRatio is how far the logarithm of a ratio is sought.
const farRatio = 100

// ratio fills in what the number of the group's failures says, where that number
// is distributed as likely, and nothing known rules out few or many.
func (h *HazardRatio) ratio(few, likely, many sum, failed int) {
	const half = 0.025
	atMost := func(logRatio float64) float64 {
		below, equal, _, _ := few.tails(failed, logRatio)
		return below + equal
	}
	atLeast := func(logRatio float64) float64 {
		_, equal, above, _ := many.tails(failed, logRatio)
		return equal + above
	}
	at := func(rises func(logRatio float64) bool) float64 { return math.Exp(bisect(-farRatio, farRatio, rises)) }
	h.P = math.Min(1, 2*math.Min(atMost(0), atLeast(0)))
	h.Least = h.P
	for _, way := range []sum{few, many} {
		below, equal, above, _ := way.tails(failed, 0)
		h.Least = math.Min(h.Least, 2*math.Min(below+equal, equal+above))
	}
	h.Upper = math.Inf(1)
	fewest, most := few.ends()
	_, low, _, _ := few.tails(fewest, 0)
	if failed < most {
		h.Upper = at(func(x float64) bool { return atMost(x) <= half })
	}
	fewest, most = many.ends()
	_, high, _, _ := many.tails(most, 0)
	if failed > fewest {
		h.Lower = at(func(x float64) bool { return atLeast(x) >= half })
	}
	h.Attainable = math.Min(1, 2*math.Min(low, high))
	switch fewest, most = likely.ends(); failed {
	case fewest:
		h.Estimate = 0
	case most:
		h.Estimate = math.Inf(1)
	default:
		h.Estimate = at(func(x float64) bool {
			_, _, _, mean := likely.tails(failed, x)
			return mean >= float64(failed)
		})
	}
}
