// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// ErrNoContrast is returned for tables in which no trait can matter: no loop
// has it, or all have it, or none failed, or all did.
var ErrNoContrast = errors.New("the table has no contrast: an empty row or column")

// MaxTable is the largest number of loops in one table.
const MaxTable = 1_000_000

// Table counts loops by failure and by a trait.
type Table struct {
	FailedWith, FailedWithout int // loops that failed, with and without the trait
	GoodWith, GoodWithout     int // healthy ones
}

// Strata are tables of one question, one for each kind of loop that must not
// be pooled, such as a fluid.
type Strata []Table

// OddsRatio is how much more often loops with a trait failed.
type OddsRatio struct {
	// Estimate is the conditional maximum likelihood estimate; 0 or +Inf
	// where a zero in the table sets it. Lower and Upper are the exact
	// central limits, LowerMid and UpperMid those from the mid-p.
	Estimate, Lower, Upper, LowerMid, UpperMid float64
	// PLess and PGreater are the exact one-sided p. P is twice the smaller,
	// at most 1, and agrees with the limits: it is below 0.05 if and only if
	// 1 is outside of them. PMid counts the table itself half.
	PLess, PGreater, P, PMid float64
	// Attainable is the smallest P that any table with these margins could
	// have had. Where it is not below 0.05, no result could have been
	// significant.
	Attainable float64
}

// OddsRatio tests the table after Fisher (1935) and estimates the odds ratio,
// with limits at 95 %. It returns ErrNoContrast for an empty row or column and
// an *InvalidError for a negative count.
func (t Table) OddsRatio() (OddsRatio, error) { return Strata{t}.OddsRatio() }

// OddsRatio tests and estimates a common odds ratio, exactly and conditional
// on the margins of each table (Gart 1970). Tables without contrast say
// nothing and are passed over; if there is no other, it returns ErrNoContrast.
func (s Strata) OddsRatio() (OddsRatio, error) {
	failed, w := 0, conditional{logs: []float64{0}}
	for _, t := range s {
		if err := t.check(); err != nil {
			return OddsRatio{}, err
		}
		if next := t.conditional(); len(next.logs) > 1 {
			failed += t.FailedWith
			w = w.plus(next)
		}
	}
	if len(w.logs) < 2 {
		return OddsRatio{}, ErrNoContrast
	}
	return w.oddsRatio(failed), nil
}

func (t Table) check() error {
	for _, c := range []struct {
		name  string
		count int
	}{{"failed with", t.FailedWith}, {"failed without", t.FailedWithout}, {"good with", t.GoodWith}, {"good without", t.GoodWithout}} {
		if c.count < 0 || c.count > MaxTable {
			return &InvalidError{Column: c.name, Value: strconv.Itoa(c.count), Reason: fmt.Sprintf("a number of loops from 0 to %d is right", MaxTable)}
		}
	}
	return nil
}

// conditional is the distribution of the number that failed with the trait,
// given the margins: the logarithm of the weight of first, first+1, ... at an
// odds ratio of 1.
type conditional struct {
	first int
	logs  []float64
}

func (t Table) conditional() conditional {
	failed, good, with := t.FailedWith+t.FailedWithout, t.GoodWith+t.GoodWithout, t.FailedWith+t.GoodWith
	c := conditional{first: max(0, with-good)}
	for k := c.first; k <= min(failed, with); k++ {
		c.logs = append(c.logs, logChoose(failed, k)+logChoose(good, with-k)-logChoose(failed+good, with))
	}
	return c
}

// plus is the distribution of the sum of two.
func (c conditional) plus(o conditional) conditional {
	out := conditional{first: c.first + o.first, logs: make([]float64, len(c.logs)+len(o.logs)-1)}
	for k := range out.logs {
		terms := make([]float64, 0, len(o.logs))
		for i := max(0, k-len(o.logs)+1); i <= min(k, len(c.logs)-1); i++ {
			terms = append(terms, c.logs[i]+o.logs[k-i])
		}
		out.logs[k] = logSum(terms)
	}
	return out
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

// tails are the probabilities of below, equal to and above k, and the mean,
// at the odds ratio exp(logOdds).
func (c conditional) tails(k int, logOdds float64) (below, equal, above, mean float64) {
	most := math.Inf(-1)
	for i, l := range c.logs {
		most = math.Max(most, l+float64(i)*logOdds)
	}
	for i, l := range c.logs {
		p := math.Exp(l + float64(i)*logOdds - most)
		mean += p * float64(c.first+i)
		switch at := c.first + i; {
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

// farOdds is how far the logarithm of an odds ratio is sought.
const farOdds = 100

func (c conditional) oddsRatio(failed int) OddsRatio {
	const half = 0.025
	below, equal, above, _ := c.tails(failed, 0)
	last := c.first + len(c.logs) - 1
	r := OddsRatio{PLess: below + equal, PGreater: above + equal, Upper: math.Inf(1), UpperMid: math.Inf(1)}
	r.P = math.Min(1, 2*math.Min(r.PLess, r.PGreater))
	r.PMid = math.Min(1, 2*math.Min(below, above)+equal)
	at := func(rises func(below, equal, above, mean float64) bool) float64 {
		return math.Exp(bisect(-farOdds, farOdds, func(x float64) bool { return rises(c.tails(failed, x)) }))
	}
	if failed > c.first {
		r.Lower = at(func(_, equal, above, _ float64) bool { return equal+above >= half })
		r.LowerMid = at(func(_, equal, above, _ float64) bool { return equal/2+above >= half })
	}
	if failed < last {
		r.Upper = at(func(below, equal, _, _ float64) bool { return below+equal <= half })
		r.UpperMid = at(func(below, equal, _, _ float64) bool { return below+equal/2 <= half })
	}
	switch failed {
	case c.first:
		r.Estimate = 0
	case last:
		r.Estimate = math.Inf(1)
	default:
		r.Estimate = at(func(_, _, _, mean float64) bool { return mean >= float64(failed) })
	}
	_, low, _, _ := c.tails(c.first, 0)
	_, high, _, _ := c.tails(last, 0)
	r.Attainable = math.Min(1, 2*math.Min(low, high))
	return r
}
