// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
)

// mostDrawn is how many groups one plot can hold and still be read.
const mostDrawn = 4

// Plot is what a picture of survival by age shows, in the units of the data.
type Plot struct {
	Curves []PlotCurve
	Oldest float64   // right end of the axis
	Ages   []float64 // of the axis and of the numbers at risk
	// Sentence says what the picture shows.
	Sentence string
	// Mark is the age up to which nine in ten are good, with confidence; NaN
	// where it is not known or there are groups.
	Mark float64
}

// PlotCurve is one curve: survival, limits, and how many were under watch.
type PlotCurve struct {
	Name   string
	Points []Point // those that are drawn, rising by age
	// Start is where the drawing begins, with all still good; Until is where it
	// ends: survival is flat from the last point.
	Start, Until float64
	AtRisk       []int // at the ages of the plot
	// Between is set for a curve from inspections, on which survival falls
	// somewhere between two ages.
	Between bool
}

// NewPlot takes what is drawn from a report on the lives: a curve for each
// group, if there are two to four, else one for all. The drawing of a curve
// ends where fewer than FewAtRisk are under watch. Without any curve to draw
// it returns false.
func NewPlot(r Report, lives Lives) (Plot, bool) {
	p := Plot{Mark: math.NaN()}
	reports := r.Groups
	if len(reports) < 2 || len(reports) > mostDrawn {
		reports = []Report{r}
		p.Mark = float64(r.B10.Lower95)
	}
	var of []Lives
	for _, one := range reports {
		members := lives
		if len(reports) > 1 {
			members = lives.InGroup(one.Group)
		}
		if c, ok := plotCurve(one); ok {
			p.Curves, of = append(p.Curves, c), append(of, members)
			p.Oldest = math.Max(p.Oldest, c.Until)
		}
	}
	if len(p.Curves) == 0 || p.Oldest == 0 {
		return Plot{}, false
	}
	if p.Mark > p.Oldest {
		p.Mark = math.NaN()
	}
	p.Oldest, p.Ages = axis(p.Oldest)
	for i := range p.Curves {
		watched := of[i].Watched()
		for _, age := range p.Ages {
			p.Curves[i].AtRisk = append(p.Curves[i].AtRisk, watched(age))
		}
	}
	p.Sentence = plotSentence(r, p)
	return p, true
}

func plotCurve(r Report) (PlotCurve, bool) {
	c := PlotCurve{Name: r.Group, Points: r.KM, Start: r.Start}
	if len(r.Turnbull) > 0 {
		c.Points, c.Between = r.Turnbull, true
	}
	last := -1
	for i, p := range c.Points {
		if !p.Few {
			last = i
		}
	}
	c.Points = c.Points[:last+1]
	if last < 0 {
		return c, false
	}
	c.Until = c.Points[last].Age
	return c, true
}

// axis rounds the right end up and divides it into four to eight even parts.
func axis(oldest float64) (end float64, ages []float64) {
	unit := math.Pow(10, math.Floor(math.Log10(oldest)))
	step := unit
	for _, s := range []float64{unit / 5, unit / 2, unit, 2 * unit} {
		if step = s; oldest/s <= 8 {
			break
		}
	}
	n := int(math.Ceil(oldest/step - 1e-9))
	for i := range n + 1 {
		ages = append(ages, float64(i)*step)
	}
	return float64(n) * step, ages
}

// plotSentence says in words what the picture shows.
func plotSentence(r Report, p Plot) string {
	if len(p.Curves) > 1 {
		for _, a := range r.Answers {
			if a.Question == "comparison" {
				return a.Sentence
			}
		}
		return fmt.Sprintf("Share of loops still good by age, in %d groups.", len(p.Curves))
	}
	for _, a := range r.Answers {
		if a.Question == "curve" {
			return a.Sentence
		}
	}
	return fmt.Sprintf("Share of %s still good by age.", count(r.N, "loop"))
}
