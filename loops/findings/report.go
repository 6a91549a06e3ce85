// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
)

// Scope says where lives come from, and with that how much care they need.
type Scope int

const (
	// FromFile is a file that somebody prepared: its maker answers for how
	// the loops were chosen, and a shape from two failures on is printed,
	// marked weak below five.
	FromFile Scope = iota
	// FromRegister is the workshop's own record, which tends to hold the
	// machines that came in because they had failed. Without healthy loops on
	// record no age is told, and no shape below five failures.
	FromRegister
)

// Report is all that lives answer, in the form of the contract of
// `fillmark lives --json`. Exactly one of KM and Turnbull is there unless the
// curve is refused.
type Report struct {
	Group    string  `json:"group,omitempty"`
	N        int     `json:"n"`
	Failures int     `json:"failures"`
	Basis    Basis   `json:"basis"`
	KM       []Point `json:"km,omitempty"`
	Turnbull []Point `json:"turnbull,omitempty"`
	// Start is the age that the curve is conditional on, where loops joined
	// late.
	Start float64 `json:"start"`
	// Gap is Turnbull's distance from the maximum.
	Gap            *Number        `json:"gap,omitempty"`
	Median         Number         `json:"median"`
	MedianLower    Number         `json:"median_lower"`
	MedianUpper    Number         `json:"median_upper"`
	RestrictedMean *MeanReport    `json:"restricted_mean,omitempty"`
	Weibull        *WeibullReport `json:"weibull"`
	B10            BLife          `json:"b10"`
	// Comparisons set each group against the others, at the same ages; of two
	// groups the first against the second.
	Comparisons []ComparisonReport `json:"comparisons,omitempty"`
	LogRank     *RankReport        `json:"logrank,omitempty"`
	Causes      []CauseReport      `json:"causes,omitempty"`
	Groups      []Report           `json:"groups,omitempty"`
	Refused     []Refusal          `json:"refused"`
	Answers     []Answer           `json:"answers"`
	Sources     []string           `json:"sources,omitempty"` // of the methods used, in the report on all groups
}

// Point is one age of a curve.
type Point struct {
	Age      float64 `json:"age"`
	Survival float64 `json:"survival"` // share still good after this age
	Lower    Number  `json:"lower"`
	Upper    Number  `json:"upper"`
	AtRisk   int     `json:"at_risk"`  // under watch and good at From
	Failures int     `json:"failures"` // at this age; 0 in a Turnbull curve
	// From is where the cell of a Turnbull curve begins: between From and Age
	// survival falls, nobody knows where.
	From Number `json:"from"`
	// Few is set where too few are at risk for the curve to be drawn.
	Few bool `json:"few"`
}

// MeanReport is the mean life up to an age.
type MeanReport struct {
	Until    float64 `json:"until"`
	Estimate Number  `json:"estimate"`
	SE       Number  `json:"standard_error"`
}

// WeibullReport is a fitted Weibull distribution.
type WeibullReport struct {
	Shape      Number `json:"shape"`
	Scale      Number `json:"scale"`
	LogLik     Number `json:"loglik"`
	ShapeLower Number `json:"shape_lower"`
	ShapeUpper Number `json:"shape_upper"`
	// PChance is the p of the test against failures by chance, shape 1.
	PChance Number `json:"p_chance"`
	// Weak is set below five failures.
	Weak bool `json:"weak"`
}

// BLife is the age by which one in ten has failed.
type BLife struct {
	Estimate Number `json:"estimate"`
	Lower95  Number `json:"lower95"`
	// Method is "likelihood ratio" or "Weibayes", how Lower95 was found.
	Method string `json:"method,omitempty"`
}

// ComparisonReport is how many times as often the loops of a group fail as the
// others do at the same age.
type ComparisonReport struct {
	Group    string `json:"group"`
	With     Side   `json:"with"`
	Without  Side   `json:"without"`
	Ratio    Number `json:"ratio"`
	Lower    Number `json:"lower"`
	Upper    Number `json:"upper"`
	P        Number `json:"p"`          // exact
	Adjusted Number `json:"p_adjusted"` // corrected for the groups compared (Holm)
}

// RankReport is a log-rank test, there to compare with other programs. PExact
// is the p of the comparison where there are two groups.
type RankReport struct {
	ChiSquare Number `json:"chisq"`
	DF        int    `json:"df"`
	P         Number `json:"p"`
	PExact    Number `json:"p_exact"`
}

// CauseReport is the share that one cause ends while the others are at work.
type CauseReport struct {
	Cause     string      `json:"cause"`
	Failures  int         `json:"failures"`
	Incidence []CauseStep `json:"incidence"`
}

// CauseStep is that share up to an age.
type CauseStep struct {
	Age   float64 `json:"age"`
	Share float64 `json:"share"`
	SE    Number  `json:"standard_error"`
}

// Analyse answers what can be answered from the lives, and refuses the rest. It
// compares the groups of a file; those of a register are compared by [Explore],
// in which kinds are not pooled.
func Analyse(lives Lives, scope Scope) Report {
	r := analyseOne(lives, scope)
	if groups := lives.Groups(); len(groups) > 1 {
		if scope == FromFile {
			r.compare(lives)
		}
		for _, g := range groups {
			one := analyseOne(lives.InGroup(g), scope)
			one.Group = g
			r.Groups = append(r.Groups, one)
		}
	} else if len(groups) == 1 && groups[0] != "" {
		r.refuse("comparison", "all lives are in one group, "+groups[0]+", so there is nothing to compare. Missing: lives of another group.")
	}
	r.Sources = r.sources()
	return r
}

// sources names where the methods that were used are published.
func (r *Report) sources() []string {
	var out []string
	add := func(used bool, source string) {
		if used {
			out = append(out, source)
		}
	}
	add(len(r.KM) > 0, "curve: Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958) 457, log-log limits")
	add(len(r.Turnbull) > 0, "curve: Turnbull, J. R. Stat. Soc. B 38 (1976) 290, likelihood-ratio limits")
	add(len(r.Comparisons) > 0, "comparison: Cox, J. R. Stat. Soc. B 34 (1972) 187; Finkelstein, Biometrics 42 (1986) 845; exact distribution given those at risk")
	add(r.LogRank != nil, "log-rank: Mantel, Cancer Chemother. Rep. 50 (1966) 163")
	add(len(r.Causes) > 0, "causes: Aalen and Johansen, Scand. J. Stat. 5 (1978) 141")
	add(r.Weibull != nil, "Weibull: Meeker and Escobar, Statistical Methods for Reliability Data (1998), chapter 8")
	add(r.B10.Method == "Weibayes", "B10: Nelson, J. Qual. Technol. 17 (1985) 140")
	return out
}

func analyseOne(lives Lives, scope Scope) Report {
	r := Report{Basis: lives.Basis(), Median: unknown(), MedianLower: unknown(), MedianUpper: unknown(),
		B10: BLife{Estimate: unknown(), Lower95: unknown()}, Refused: []Refusal{}, Answers: []Answer{}}
	r.N, r.Failures = r.Basis.N, r.Basis.Failures
	if scope == FromRegister && r.Basis.Right == 0 {
		r.refuse("ages", "no healthy loop is on record. Loops that came in because they had failed make every age look too low. "+
			"Missing: loops of the same kind known good, with the day they were last measured.")
		return r
	}
	r.curve(lives)
	r.causes(lives)
	fit := r.weibull(lives, scope)
	r.b10(lives, fit)
	return r
}

func (r *Report) refuse(what, why string) { r.Refused = append(r.Refused, Refusal{what, why}) }

func (r *Report) answer(question string, value, lower, upper float64, sentence, firmer string) {
	r.Answers = append(r.Answers, Answer{Question: question, Value: Number(value), Lower: Number(lower), Upper: Number(upper),
		Basis: r.Basis, Sentence: sentence, Firmer: firmer})
}

// weibull fits the distribution and refuses what the failures do not carry.
func (r *Report) weibull(lives Lives, scope Scope) *Weibull {
	if r.Failures < 2 {
		r.refuse("weibull", "a Weibull distribution needs two failures at least. On record: "+count(r.Failures, "failure")+".")
		return nil
	}
	if scope == FromRegister && r.Failures < FewFailures {
		r.refuse("weibull", "how the risk changes with age is not told from fewer than five failures. On record: "+count(r.Failures, "failure")+".")
		return nil
	}
	fit, err := FitWeibull(lives)
	if err != nil {
		r.refuse("weibull", "the lives do not say how the risk changes with age: a single age at failure could explain them all, or the risk seems to "+
			"vanish with age. Missing: failures at different ages, or inspections at more ages.")
		return nil
	}
	shape := fit.ShapeLimits(0.95)
	_, p := fit.WearOut()
	r.Weibull = &WeibullReport{Shape: Number(fit.Shape), Scale: Number(fit.Scale), LogLik: Number(fit.LogLik), ShapeLower: Number(shape.Lower),
		ShapeUpper: Number(shape.Upper), PChance: Number(p), Weak: fit.Failures < FewFailures}
	r.shapeAnswer(fit, shape, p)
	return fit
}

// b10 gives the age by which one in ten has failed.
func (r *Report) b10(lives Lives, fit *Weibull) {
	if r.Basis.UnderWatch == 0 {
		r.refuse("b10", "no loop was seen good at any age. Missing: loops with an inspection at which they were good.")
		return
	}
	if fit != nil {
		r.B10.Estimate = Number(fit.Life(0.10))
	}
	r.B10.Lower95, r.B10.Method = Number(LowerLife(lives, fit, 0.10)), "Weibayes"
	if fit != nil && fit.Failures >= FewFailures {
		r.B10.Method = "likelihood ratio"
	}
	if !(r.B10.Lower95 > 0) {
		r.B10.Lower95 = unknown()
	}
	r.b10Answer(lives)
}

// causes splits the failures, where more than one cause is named.
func (r *Report) causes(lives Lives) {
	if len(lives.Causes()) < 2 {
		return
	}
	all, err := Incidences(lives)
	if err != nil {
		r.refuse("causes", "the share of each cause by age needs failures at a known age, and some are only known to lie between two "+
			"inspections. The counts stand.")
		return
	}
	for _, i := range all {
		c := CauseReport{Cause: i.Cause, Failures: lives.sum(func(l *row) bool { return l.failed() && lives.causes[l.cause] == i.Cause }), Incidence: []CauseStep{}}
		for _, s := range i.Steps {
			if math.IsNaN(s.Share) {
				break
			}
			c.Incidence = append(c.Incidence, CauseStep{Age: s.Age, Share: s.Share, SE: Number(s.SE)})
		}
		r.Causes = append(r.Causes, c)
		r.causeAnswer(c, i.Start)
	}
}

// compare sets the groups against each other.
func (r *Report) compare(lives Lives) {
	for _, refused := range r.Refused {
		if refused.What == "ages" {
			return
		}
	}
	answers, err := CompareGroups([]Lives{lives})
	switch err {
	case nil:
	case ErrNoFailures:
		r.refuse("comparison", "no failure is on record, so there is nothing to compare.")
		return
	default:
		r.refuse("comparison", "at no age of a failure were loops of two groups under watch, so they cannot be compared. Missing: lives of the groups at the same ages.")
		return
	}
	for _, a := range answers {
		h := a.Ratio
		r.Comparisons = append(r.Comparisons, ComparisonReport{Group: a.Group, With: h.With, Without: h.Without, Ratio: Number(h.Estimate), Lower: Number(h.Lower),
			Upper: Number(h.Upper), P: Number(h.P), Adjusted: Number(a.Adjusted)})
	}
	r.compareAnswer(lives.Groups(), answers)
	if c, err := LogRank(lives); err == nil {
		r.LogRank = &RankReport{ChiSquare: Number(c.ChiSquare), DF: c.DF, P: Number(c.P), PExact: unknown()}
		if len(c.Groups) == 2 {
			r.LogRank.PExact = r.Comparisons[0].P
		}
	}
}
