// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package drawing

import (
	"fmt"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Curve is the freeze point over the strength with a loop's point in it, in
// drawing units.
type Curve struct {
	Fluid    string
	Line     string // path of the curve
	Band     string // path of the band of its uncertainty
	Rules    []Mark // horizontal, °C
	Steps    []Mark // along the bottom, mass %
	Point    *CurvePoint
	Sentence string
	Rows     []CurveRow
}

// CurvePoint is a loop's own point, named in place.
type CurvePoint struct {
	X, Y           Px
	BandX          Px // left edge of the bar of its interval
	Top, Height    Px // of that bar
	LabelX, LabelY Px
	Anchor         string // start or end
	Strength       string
	Freezes        string
}

// CurveRow is a row of the same figures as a table.
type CurveRow struct {
	Percent float64
	Freezes chemistry.Celsius
	Plus    chemistry.CelsiusDelta
}

// The plot area of templates/_curve.html.
const (
	curveLeft   = 48.0
	curveTop    = 76.0
	curveWidth  = 282.0
	curveHeight = 230.0
	curvePoints = 61 // one a mass percent
	tableStep   = 5  // mass percent between rows
)

// CurveOf draws the freeze curve of a charge's fluid; nil for water.
func CurveOf(charge loops.Charge, p *loops.Protection) *Curve {
	points := chemistry.FreezeCurve(charge.Fluid, curvePoints)
	if points == nil {
		return nil
	}
	coldest := points[len(points)-1].Freeze
	a := curveAxes{low: tenBelow(float64(coldest.Stated.Add(-coldest.Uncertainty)))}
	c := &Curve{Fluid: charge.Fluid.Name(), Line: a.line(points), Band: a.band(points)}
	for t := 0.0; t >= a.low; t -= 10 {
		c.Rules = append(c.Rules, Mark{a.y(chemistry.Celsius(t)), degrees(t)})
	}
	for percent := 0; percent <= 60; percent += 10 {
		c.Steps = append(c.Steps, Mark{a.x(chemistry.MassFraction(float64(percent) / 100)), fmt.Sprint(percent)})
	}
	for i := 0; i < len(points); i += tableStep {
		c.Rows = append(c.Rows, CurveRow{points[i].Mass.Percent(), points[i].Freeze.Stated, points[i].Freeze.Uncertainty})
	}
	c.Sentence = "The more " + c.Fluid + " in the water, the colder it can get before the first ice."
	if p != nil && charge.Mass != nil {
		c.Point = a.point(*charge.Mass, *p)
		c.Sentence += " This loop, at " + Quantity(*charge.Mass) + ", freezes at " + PlusMinus(p.FreezePoint, p.Uncertainty) + "."
	} else {
		c.Sentence += " The strength of this loop is not known, so it has no point here."
	}
	return c
}

// curveAxes maps strength and temperature to the drawing.
type curveAxes struct {
	low float64 // °C at the bottom; 0 °C is at the top
}

func (a curveAxes) x(m chemistry.MassFraction) Px {
	return Px(curveLeft + curveWidth*float64(m/chemistry.MaxMassFraction))
}

func (a curveAxes) y(t chemistry.Celsius) Px {
	return Px(curveTop + curveHeight*float64(t)/a.low)
}

func (a curveAxes) line(points []chemistry.CurvePoint) string {
	var path strings.Builder
	for i, p := range points {
		fmt.Fprintf(&path, "%c%s %s", step(i), a.x(p.Mass), a.y(p.Freeze.Stated))
	}
	return path.String()
}

func (a curveAxes) band(points []chemistry.CurvePoint) string {
	var path strings.Builder
	for i, p := range points {
		fmt.Fprintf(&path, "%c%s %s", step(i), a.x(p.Mass), a.y(min(0, p.Freeze.Stated.Add(p.Freeze.Uncertainty))))
	}
	for i := len(points) - 1; i >= 0; i-- {
		p := points[i]
		fmt.Fprintf(&path, "L%s %s", a.x(p.Mass), a.y(p.Freeze.Stated.Add(-p.Freeze.Uncertainty)))
	}
	return path.String() + "Z"
}

// step is the command of a path's i-th point.
func step(i int) byte {
	if i == 0 {
		return 'M'
	}
	return 'L'
}

// point places a loop's own point. Its name stands where the falling curve
// leaves room: below it on the right half, above it on the left.
func (a curveAxes) point(mass chemistry.MassFraction, p loops.Protection) *CurvePoint {
	warm, cold := min(0, p.FreezePoint.Add(p.Uncertainty)), p.FreezePoint.Add(-p.Uncertainty)
	c := &CurvePoint{
		X: a.x(mass), Y: a.y(p.FreezePoint), BandX: a.x(mass) - 11, Top: a.y(warm), Height: a.y(cold) - a.y(warm),
		Strength: Quantity(mass), Freezes: PlusMinus(p.FreezePoint, p.Uncertainty),
	}
	if mass < chemistry.MaxMassFraction/2 {
		c.LabelX, c.LabelY, c.Anchor = c.X+8, c.Y-50, "start"
	} else {
		c.LabelX, c.LabelY, c.Anchor = c.X-14, c.Y+22, "end"
	}
	return c
}
