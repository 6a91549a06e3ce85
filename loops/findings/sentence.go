// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// significant is the p below which a difference is called one.
const significant = 0.05

// count writes a number of things.
func count(n int, thing string) string {
	switch n {
	case 0:
		return "no " + thing
	case 1:
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// between writes limits; an end that is not known is left open.
func between(lower, upper Number) string {
	switch {
	case lower.Known() && upper.Known():
		return fmt.Sprintf("95 %% limits %s to %s", lower, upper)
	case lower.Known():
		return fmt.Sprintf("95 %% limits %s to beyond what was seen", lower)
	case upper.Known():
		return fmt.Sprintf("95 %% limits below what was seen to %s", upper)
	}
	return "no limits"
}

// curveAnswer says how far the curve can be read, and what it shows there.
func (r *Report) curveAnswer(points []Point) {
	var last *Point
	for i := range points {
		if p := &points[i]; !p.Few && p.Lower.Known() && p.Upper.Known() {
			last = p
		}
	}
	if last == nil {
		r.refuse("drawing", fmt.Sprintf("fewer than %d loops were under watch at every age, so no curve is drawn; the numbers stand. Missing: more lives.", FewAtRisk))
		return
	}
	sentence := fmt.Sprintf("%s%s were still good after age %s (%s to %s), the oldest age at which at least %d loops were under watch.",
		ofGoodAt(r.Start), percent(last.Survival), short(last.Age), percent(float64(last.Lower)), percent(float64(last.Upper)), FewAtRisk)
	if r.Failures == 0 {
		sentence = fmt.Sprintf("None of %s failed. With 95 %% confidence at least %s are still good after age %s.", count(r.N, "loop"), percent(float64(last.Lower)), short(last.Age))
	}
	r.answer("curve", last.Survival, float64(last.Lower), float64(last.Upper), sentence, "more loops watched beyond age "+short(last.Age))
}

// ofGoodAt says of which loops a share is, where it does not begin at the fill.
func ofGoodAt(start float64) string {
	if start == 0 {
		return ""
	}
	return fmt.Sprintf("Of loops good at age %s, ", short(start))
}

// medianAnswer says by when half have failed.
func (r *Report) medianAnswer(lives Lives) {
	if !r.Median.Known() {
		why := fmt.Sprintf("fewer than half have failed by age %s, where the record ends.", short(lives.oldest()))
		if r.MedianLower.Known() && r.MedianLower > 0 {
			why += fmt.Sprintf(" With 95 %% confidence the median is not below %s.", r.MedianLower)
		}
		r.refuse("median", why+" Missing: loops watched for longer.")
		return
	}
	half := "Half"
	if r.Start > 0 {
		half = ofGoodAt(r.Start) + "half"
	}
	sentence := fmt.Sprintf("%s had failed by age %s (%s).", half, r.Median, between(r.MedianLower, r.MedianUpper))
	points := slices.Concat(r.KM, r.Turnbull)
	at := slices.IndexFunc(points, func(p Point) bool { return Number(p.Age) >= r.Median })
	if at >= 0 && points[at].Few {
		sentence += fmt.Sprintf(" Weak: only %s under watch at that age.", count(points[at].AtRisk, "loop"))
	}
	firmer := "more failures; four times as many halve the limits"
	if len(r.Turnbull) > 0 {
		firmer = "inspections closer together around age " + r.Median.String()
	}
	r.answer("median", float64(r.Median), float64(r.MedianLower), float64(r.MedianUpper), sentence, firmer)
}

// shapeAnswer says how the risk changes with age.
func (r *Report) shapeAnswer(fit *Weibull, shape Estimate, p float64) {
	how := "the data do not show whether old loops fail more often than new ones"
	switch {
	case p < significant && fit.Shape > 1:
		how = "old loops fail more often than new ones"
	case p < significant && fit.Shape < 1:
		how = "new loops fail more often than old ones"
	}
	sentence := fmt.Sprintf("Weibull shape %s (%s): %s.", short(fit.Shape), between(Number(shape.Lower), Number(shape.Upper)), how)
	firmer := "more failures; four times as many halve the limits"
	if fit.Failures < FewFailures {
		sentence = fmt.Sprintf("Weak, from %s: ", count(fit.Failures, "failure")) + sentence
		firmer = fmt.Sprintf("at least %d failures", FewFailures)
	}
	r.answer("shape", fit.Shape, shape.Lower, shape.Upper, sentence, firmer)
}

// b10Answer says until when nine in ten are good.
func (r *Report) b10Answer(lives Lives) {
	if !r.B10.Lower95.Known() {
		r.refuse("b10", "the failures leave open how early one in ten fails. Missing: more failures, or loops known good at a young age.")
		return
	}
	parts := []string{fmt.Sprintf("With 95 %% confidence nine in ten loops are still good at age %s.", r.B10.Lower95)}
	if r.B10.Estimate.Known() {
		parts = append(parts, fmt.Sprintf("Best estimate of the age by which one in ten has failed: %s.", r.B10.Estimate))
	}
	firmer := "more failures, or more loops known good at older ages"
	if r.B10.Method == "Weibayes" {
		parts = append(parts, fmt.Sprintf("With %s the way the risk grows is not known, so the most cautious of shapes 1 to 3 counts.", count(r.Failures, "failure")))
		firmer = fmt.Sprintf("loops known good at older ages; from %d failures on the data speak for themselves", FewFailures)
	}
	switch oldest := Number(lives.oldest()); {
	case r.B10.Lower95 > oldest:
		parts = append(parts, fmt.Sprintf("That is beyond age %s, the oldest on record, and rests on the distribution alone.", oldest))
	case r.B10.Estimate > oldest:
		parts = append(parts, fmt.Sprintf("The estimate lies beyond age %s, the oldest on record, and rests on the distribution alone.", oldest))
	}
	r.answer("b10", float64(r.B10.Estimate), float64(r.B10.Lower95), math.Inf(1), strings.Join(parts, " "), firmer)
}

// causeAnswer says how many one cause has ended from an age on. Of none and of
// all there are no limits.
func (r *Report) causeAnswer(c CauseReport, start float64) {
	if len(c.Incidence) == 0 {
		return
	}
	name := c.Cause
	if name == "" {
		name = "no named cause"
	}
	last := c.Incidence[len(c.Incidence)-1]
	lower, upper, limits, by := math.NaN(), math.NaN(), "", "By"
	if start > 0 {
		by = ofGoodAt(start) + "by"
	}
	if last.Share > 0 && last.Share < 1 {
		lower, upper = survivalLimits(last.Share, float64(last.SE)/last.Share, normalQuantile(0.975))
		limits = fmt.Sprintf(" (%s to %s)", percent(lower), percent(upper))
	}
	sentence := fmt.Sprintf("%s age %s, %s had failed by %s%s, the other causes being at work as they are.", by, short(last.Age), percent(last.Share), name, limits)
	r.answer("cause", last.Share, lower, upper, sentence, "more failures with their cause named")
}

// compareAnswer says whether the groups differ.
func (r *Report) compareAnswer(groups []string, answers []GroupAnswer) {
	for i, c := range r.Comparisons {
		others := "the others"
		if len(groups) == 2 {
			others = groups[1]
		}
		seen := fmt.Sprintf("%s: %d of %d failed, %s expected at these ages; %s: %d of %d failed, %s expected.", c.Group, c.With.Failures, c.With.N, tenth(c.With.Expected),
			others, c.Without.Failures, c.Without.N, tenth(c.Without.Expected))
		verdict := fmt.Sprintf("No difference is shown (exact %s); that is not proof that they are alike.", pValue(float64(c.Adjusted)))
		switch ratio := answers[i].Ratio; {
		case c.Adjusted >= significant && ratio.LooksDecide():
			verdict = fmt.Sprintf("It cannot be told whether they differ, because they were not watched at the same ages. %s", ratio.looks())
		case c.Adjusted < significant:
			verdict = fmt.Sprintf("They differ by more than chance explains (exact %s).", pValue(float64(c.Adjusted)))
		}
		if len(r.Comparisons) > 1 {
			verdict += fmt.Sprintf(" The p is corrected for the %d groups compared.", len(r.Comparisons))
		}
		r.answer("comparison", float64(c.Ratio), float64(c.Lower), float64(c.Upper), seen+" "+verdict, "more failures, on both sides, at the same ages")
	}
}
