// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/mathext"
)

// Share is a count of loops among others.
type Share struct {
	Of, Among int
}

// ShareEstimate is a share with exact limits at 95 %.
type ShareEstimate struct {
	Estimate, Lower, Upper float64 // Clopper and Pearson (1934)
	LowerMid, UpperMid     float64 // from the mid-p, narrower
	// LowerBound and UpperBound are one-sided.
	LowerBound, UpperBound float64
}

// ShareTest compares a share with a stated one.
type ShareTest struct {
	PLess, PGreater float64 // exact binomial, one-sided
	P               float64 // twice the smaller, at most 1
	PMidGreater     float64 // PGreater with the count itself at half its weight
}

func (s Share) check() error {
	if s.Among < 1 || s.Among > MaxTable {
		return &InvalidError{Column: "among", Value: strconv.Itoa(s.Among), Reason: "a number of loops from 1 to " + strconv.Itoa(MaxTable) + " is right"}
	}
	if s.Of < 0 || s.Of > s.Among {
		return &InvalidError{Column: "of", Value: strconv.Itoa(s.Of), Reason: "a number from 0 to " + strconv.Itoa(s.Among) + ", the loops it is counted among, is right"}
	}
	return nil
}

// Estimate returns the share with its limits, or an *InvalidError.
func (s Share) Estimate() (ShareEstimate, error) {
	if err := s.check(); err != nil {
		return ShareEstimate{}, err
	}
	lower := func(tail float64) float64 {
		if s.Of == 0 {
			return 0
		}
		return betaQuantile(tail, float64(s.Of), float64(s.Among-s.Of+1))
	}
	upper := func(tail float64) float64 {
		if s.Of == s.Among {
			return 1
		}
		return betaQuantile(1-tail, float64(s.Of+1), float64(s.Among-s.Of))
	}
	e := ShareEstimate{Estimate: float64(s.Of) / float64(s.Among), Lower: lower(0.025), Upper: upper(0.025),
		LowerBound: lower(0.05), UpperBound: upper(0.05), UpperMid: 1}
	mid := func(p float64) float64 { return (s.atLeast(s.Of, p) + s.atLeast(s.Of+1, p)) / 2 }
	if s.Of > 0 {
		e.LowerMid = bisect(0, 1, func(p float64) bool { return mid(p) >= 0.025 })
	}
	if s.Of < s.Among {
		e.UpperMid = bisect(0, 1, func(p float64) bool { return mid(p) >= 0.975 })
	}
	return e, nil
}

// Against tests the share against a stated one between 0 and 1.
func (s Share) Against(stated float64) (ShareTest, error) {
	if err := s.check(); err != nil {
		return ShareTest{}, err
	}
	if !(stated > 0 && stated < 1) {
		return ShareTest{}, &InvalidError{Column: "stated", Value: strconv.FormatFloat(stated, 'g', -1, 64), Reason: "a share above 0 and below 1 is right"}
	}
	above := s.atLeast(s.Of+1, stated)
	t := ShareTest{PLess: 1 - above, PGreater: s.atLeast(s.Of, stated)}
	t.P = math.Min(1, 2*math.Min(t.PLess, t.PGreater))
	t.PMidGreater = (t.PGreater + above) / 2
	return t, nil
}

// atLeast is the chance of x or more among all at the share p.
func (s Share) atLeast(x int, p float64) float64 {
	switch {
	case x <= 0:
		return 1
	case x > s.Among:
		return 0
	}
	return mathext.RegIncBeta(float64(x), float64(s.Among-x+1), p)
}

// Rate is a count of failures over loop-months under watch.
type Rate struct {
	Failures   int
	LoopMonths float64
}

// RateEstimate is failures per loop-month, exact limits at 95 % after Garwood
// (1936), and those from the mid-p.
type RateEstimate struct {
	Estimate, Lower, Upper float64
	LowerMid, UpperMid     float64
	UpperBound             float64 // one-sided
}

func (r Rate) check() error {
	if r.Failures < 0 || r.Failures > MaxTable {
		return &InvalidError{Column: "failures", Value: strconv.Itoa(r.Failures), Reason: "a number from 0 to " + strconv.Itoa(MaxTable) + " is right"}
	}
	if !(r.LoopMonths > 0) || math.IsInf(r.LoopMonths, 1) {
		return &InvalidError{Column: "loop-months", Value: strconv.FormatFloat(r.LoopMonths, 'g', -1, 64), Reason: "a time under watch above 0 is right"}
	}
	return nil
}

// Estimate returns the rate with its limits, or an *InvalidError.
func (r Rate) Estimate() (RateEstimate, error) {
	if err := r.check(); err != nil {
		return RateEstimate{}, err
	}
	x := float64(r.Failures)
	upper := gammaQuantile(0.975, x+1)
	// atLeast is the chance of n or more at the mean m.
	atLeast := func(n, m float64) float64 {
		if n <= 0 {
			return 1
		}
		return mathext.GammaIncReg(n, m)
	}
	mid := func(m float64) float64 { return (atLeast(x, m) + atLeast(x+1, m)) / 2 }
	e := RateEstimate{Estimate: x, Upper: upper, UpperBound: gammaQuantile(0.95, x+1),
		UpperMid: bisect(0, upper, func(m float64) bool { return mid(m) >= 0.975 })}
	if r.Failures > 0 {
		e.Lower = gammaQuantile(0.025, x)
		e.LowerMid = bisect(0, upper, func(m float64) bool { return mid(m) >= 0.025 })
	}
	for _, v := range []*float64{&e.Estimate, &e.Lower, &e.Upper, &e.LowerMid, &e.UpperMid, &e.UpperBound} {
		*v /= r.LoopMonths
	}
	return e, nil
}

// RateRatio compares two rates.
type RateRatio struct {
	Estimate, Lower, Upper float64 // exact, conditional on the sum of the failures
	P                      float64 // twice the smaller tail, at most 1
}

// Over is how many times higher this rate is than another. Without any failure
// it returns ErrNoFailures.
func (r Rate) Over(other Rate) (RateRatio, error) {
	if err := r.check(); err != nil {
		return RateRatio{}, err
	}
	if err := other.check(); err != nil {
		return RateRatio{}, err
	}
	if r.Failures+other.Failures == 0 {
		return RateRatio{}, ErrNoFailures
	}
	s := Share{Of: r.Failures, Among: r.Failures + other.Failures}
	share, err := s.Estimate()
	if err != nil {
		return RateRatio{}, err
	}
	test, err := s.Against(r.LoopMonths / (r.LoopMonths + other.LoopMonths))
	if err != nil {
		return RateRatio{}, err
	}
	ratio := func(p float64) float64 { return p / (1 - p) * other.LoopMonths / r.LoopMonths }
	return RateRatio{Estimate: ratio(share.Estimate), Lower: ratio(share.Lower), Upper: ratio(share.Upper), P: test.P}, nil
}
