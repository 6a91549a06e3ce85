// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
	"slices"
)

// DueShare is the share of loops that may have failed by the age at which
// they are looked at.
const DueShare = 0.10

// seenBy is how many loops must have been seen at an age for it to count as
// known ground.
const seenBy = 3

// Clause names what set an age.
type Clause string

// The clauses.
const (
	ByDefault    Clause = "default"    // no evidence: the declared life or the shop's rule
	ByPrior      Clause = "prior"      // few failures: the default corrected by what was seen
	ByLikelihood Clause = "likelihood" // enough failures to ask them alone
	BySeen       Clause = "seen"       // no loop has been seen older
)

// Prior is what is believed before any evidence: that the share Share fails
// by the age Default. Weight is how strongly, in failures; Quantile is the
// caution with which the rate of failure is read.
type Prior struct {
	Default                 float64
	Share, Quantile, Weight float64
}

// DuePrior is the prior of the plan: the default counts as about 22 loops that
// reached it good.
func DuePrior(defaultAge float64) Prior {
	return Prior{Default: defaultAge, Share: DueShare, Quantile: 0.9, Weight: 1}
}

// priorShapes are the shapes gone through while failures are too few to
// estimate one: from chance to plain wear-out.
func priorShapes() []float64 { return []float64{1, 1.5, 2, 3} }

// rate is the cautious rate of failure in the time age^shape: the quantile of
// the gamma distribution that the prior becomes after the lives.
func (p Prior) rate(lives Lives, shape float64) float64 {
	hazard := -math.Log1p(-p.Share)
	before := gammaQuantile(p.Quantile, p.Weight) * math.Pow(p.Default, shape) / hazard
	return gammaQuantile(p.Quantile, p.Weight+float64(lives.Failures())) / (before + exposure(lives, shape))
}

// Next is the age by which at most the share of the prior of those that are
// good at goodAt has failed, for a shape: without lives and at goodAt 0 it is
// the default.
func (p Prior) Next(lives Lives, shape, goodAt float64) float64 {
	return NextLook(shape, math.Pow(p.rate(lives, shape), -1/shape), goodAt, p.Share)
}

// NextLook is the age at which a loop good at goodAt will have failed with the
// chance p, for a Weibull distribution: the next in a sequence of inspections
// after Barlow and Proschan (1965).
func NextLook(shape, scale, goodAt, p float64) float64 {
	// goodAt^shape + hazard scale^shape, of which a large shape leaves nothing
	// that a float can hold, so by logarithms.
	good, more := shape*math.Log(goodAt), shape*math.Log(scale)+math.Log(-math.Log1p(-p))
	return math.Exp(logSum([]float64{good, more}) / shape)
}

// Due is an age at which to look, and why.
type Due struct {
	Age    float64
	Clause Clause
	Basis  Basis
	// ShapeLow and ShapeHigh bound the shapes that were gone through, or that
	// the data leave open.
	ShapeLow, ShapeHigh float64
	// Chance is set where the data do not show that older loops fail more
	// often; the rule then learns slowly.
	Chance   bool
	Sentence string
	Firmer   string
}

// Answer is the due age in the form that all answers share. Its Lower and
// Upper are not known: the age is a bound itself.
func (d Due) Answer() Answer {
	return Answer{Question: "due", Value: Number(d.Age), Lower: unknown(), Upper: unknown(), Basis: d.Basis, Sentence: d.Sentence, Firmer: d.Firmer}
}

// explain says why the age is what it is.
func (d *Due) explain(defaultAge, goodAt float64) {
	of := "these loops"
	if goodAt > 0 {
		of = "those that are good at age " + short(goodAt)
	}
	on := fmt.Sprintf("%d of %s on record failed", d.Basis.Failures, count(d.Basis.N, "loop"))
	d.Firmer = "loops of the same kind known good at older ages"
	switch d.Clause {
	case ByDefault:
		d.Sentence = fmt.Sprintf("Look at age %s: no evidence is on record, so the default of %s sets it.", short(d.Age), short(defaultAge))
		d.Firmer = "opened or measured loops of the same kind"
	case ByPrior:
		d.Sentence = fmt.Sprintf("Look at age %s: %s, and the default of %s, which counts as 22 loops that reached it, is corrected by that, "+
			"for the least favourable of shapes 1 to 3.", short(d.Age), on, short(defaultAge))
	case ByLikelihood:
		d.Sentence = fmt.Sprintf("Look at age %s: %s, and with 95 %% confidence at most one in ten of %s has failed by then.", short(d.Age), on, of)
	case BySeen:
		d.Sentence = fmt.Sprintf("Look at age %s: %s, which would allow longer, but that is as far as the record or the default of %s reaches.",
			short(d.Age), on, short(defaultAge))
	}
	if d.Chance && d.Clause == ByLikelihood {
		d.Sentence += " The data do not show that older loops fail more often, so the age is learnt slowly."
	}
}

// EvidenceAge is the age since fill at which to look at a loop so that at most
// one in ten has failed by then: the default as long as there is no evidence,
// and what the lives say as they come in. It never goes beyond the default
// or the oldest age at which three loops were seen, whichever is older.
func EvidenceAge(lives Lives, defaultAge float64) (Due, error) {
	return NextDue(lives, defaultAge, 0)
}

// NextDue is [EvidenceAge] for a loop known good at an age. It never goes
// further beyond that age than the default, and comes no earlier than for a loop
// of which nothing is known: having been good speaks against none.
func NextDue(lives Lives, defaultAge, goodAt float64) (Due, error) {
	if !(defaultAge > 0 && defaultAge <= MaxAge) {
		return Due{}, &InvalidError{Column: "default age", Value: fmt.Sprint(defaultAge), Reason: "an age above 0 is right"}
	}
	if !(goodAt >= 0 && goodAt <= MaxAge) {
		return Due{}, &InvalidError{Column: "good at", Value: fmt.Sprint(goodAt), Reason: "an age of at least 0 is right"}
	}
	d := dueAfter(lives, defaultAge, goodAt)
	if goodAt > 0 {
		if unknown := dueAfter(lives, defaultAge, 0); unknown.Age > d.Age {
			d = unknown
		}
	}
	d.explain(defaultAge, goodAt)
	return d, nil
}

// dueAfter is the due age of a loop known good at an age, and what set it.
func dueAfter(lives Lives, defaultAge, goodAt float64) Due {
	d := fromPrior(lives, defaultAge, goodAt)
	if d.Basis.Failures >= FewFailures {
		if fit, err := FitWeibull(lives); err == nil {
			if age := fit.LowerNext(DueShare, goodAt, 0.95); age > goodAt {
				shape := fit.ShapeLimits(0.95)
				_, p := fit.WearOut()
				d.Age, d.Clause, d.ShapeLow, d.ShapeHigh = age, ByLikelihood, shape.Lower, shape.Upper
				d.Chance = p >= 0.05 || fit.Shape <= 1
			}
		}
	}
	if most := math.Max(lives.seen(), defaultAge); d.Age > most && goodAt == 0 {
		d.Age, d.Clause = most, BySeen
	} else if most = math.Max(most, goodAt+defaultAge); d.Age > most {
		d.Age, d.Clause = most, BySeen
	}
	return d
}

func fromPrior(lives Lives, defaultAge, goodAt float64) Due {
	d := Due{Age: math.Inf(1), Clause: ByPrior, Basis: lives.Basis(), ShapeLow: 1, ShapeHigh: 3, Chance: true}
	if d.Basis.N == 0 {
		d.Clause = ByDefault
	}
	prior := DuePrior(defaultAge)
	for _, shape := range priorShapes() {
		d.Age = math.Min(d.Age, prior.Next(lives, shape, goodAt))
	}
	if d.Basis.N == 0 && goodAt == 0 {
		d.Age = defaultAge // and not what rounding makes of it
	}
	return d
}

// seen is the oldest age at which at least three loops were seen good.
func (l Lives) seen() float64 {
	n := 0
	for _, r := range slices.Backward(l.rows) { // which rise by lower
		if n += r.count; n >= seenBy {
			return r.lower
		}
	}
	return 0
}
