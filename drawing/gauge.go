// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package drawing

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Gauge is a vertical scale like that on a vessel: the freeze point as the
// fill mark with its interval, and the coldest wall, in drawing units.
type Gauge struct {
	Marks      []Mark // of the axis, warm end first
	Point      Px
	PointLabel Px // the label's baseline, moved where two labels meet
	Says       string
	BandTop    Px
	BandHeight Px
	Wall       *GaugeWall
}

// GaugeWall is the coldest wall on the scale.
type GaugeWall struct {
	At    Px
	Label Px
	Says  string
}

// The drawing of templates/_gauge.html is gaugeHeight high between the ends of
// its scale, which begins gaugeTop below the edge.
const (
	gaugeTop    = 30
	gaugeHeight = 200
	labelHeight = 22 // what a line of text needs
)

// GaugeOf draws a protection; nil where there is none.
func GaugeOf(p *loops.Protection) *Gauge {
	if p == nil {
		return nil
	}
	warm, cold := p.FreezePoint.Add(p.Uncertainty), p.FreezePoint.Add(-p.Uncertainty)
	top, bottom := max(0, warm), cold
	if p.Wall != nil {
		top, bottom = max(top, *p.Wall), min(bottom, *p.Wall)
	}
	high, low := tenAbove(float64(top)), tenBelow(float64(bottom)-2)
	at := func(t chemistry.Celsius) Px {
		return Px(gaugeTop + gaugeHeight*(high-float64(t))/(high-low))
	}
	g := &Gauge{
		Point: at(p.FreezePoint), PointLabel: at(p.FreezePoint), BandTop: at(warm), BandHeight: at(cold) - at(warm),
		Says: PlusMinus(p.FreezePoint, p.Uncertainty),
	}
	for t := high; t >= low; t -= 10 {
		label := degrees(t)
		if distance := at(chemistry.Celsius(t)) - g.Point; max(distance, -distance) < labelHeight/2 {
			label = "" // the fill mark stands there
		}
		g.Marks = append(g.Marks, Mark{at(chemistry.Celsius(t)), label})
	}
	if p.Wall != nil {
		g.Wall = &GaugeWall{At: at(*p.Wall), Label: at(*p.Wall), Says: Quantity(*p.Wall)}
		g.Wall.Label, g.PointLabel = apart(g.Wall.Label, g.PointLabel)
	}
	return g
}

// apart moves two labels away from each other until both can be read; each
// has a line of its own above and below its mark.
func apart(a, b Px) (Px, Px) {
	const room = 2 * labelHeight
	gap := b - a
	if gap >= room || gap <= -room {
		return a, b
	}
	middle := (a + b) / 2
	if gap >= 0 {
		return middle - room/2, middle + room/2
	}
	return middle + room/2, middle - room/2
}
