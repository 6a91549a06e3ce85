// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package drawing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/schedule"
)

// Life is one figure of a loop over its life, in drawing units.
type Life struct {
	Heading  string
	Unit     string
	Sentence string
	Rules    []Mark
	Days     []Mark // along the bottom
	Fills    []Mark // days on which a new charge began
	Series   []LifeSeries
}

// LifeSeries is one line of points, named at its last one.
type LifeSeries struct {
	Name   string
	Line   string
	Band   string // the interval; empty where none is drawn
	Points []LifePoint
	NameX  Px
	NameY  Px
	Last   string
}

// LifePoint is one reading in the drawing.
type LifePoint struct{ X, Y Px }

// LifeRow is one set of readings as a table shows it. A figure that cannot be
// told is empty.
type LifeRow struct {
	Day                    loops.Day
	Die, Room, Heat, Total string
	die, room, total       *float64
}

// The plot area of templates/_life.html.
const (
	lifeLeft, lifeTop, lifeWidth, lifeHeight = 48.0, 40.0, 220.0, 180.0
)

// LifeRows lists the readings that stand, in the order they were taken.
func LifeRows(history []loops.Entry) []LifeRow {
	var rows []LifeRow
	add := func(day loops.Day, x *loops.Inspection) {
		if x.Die == nil && x.Room == nil {
			return
		}
		row := LifeRow{Day: day}
		if x.Die != nil {
			row.die, row.Die = new(float64(*x.Die)), Quantity(*x.Die)
		}
		if x.Room != nil {
			row.room, row.Room = new(float64(*x.Room)), Quantity(*x.Room)
		}
		if x.PowerW != nil {
			row.Heat = Figure(*x.PowerW, "W")
		}
		if figures, err := inspection.Read(schedule.InspectionReading(*x, nil)); err == nil && figures.Total != nil {
			row.total = new(float64(figures.Total.Value))
			row.Total = fmt.Sprintf("%.3f ± %.3f", *row.total, float64(figures.Total.Uncertainty))
		}
		rows = append(rows, row)
	}
	for _, e := range loops.Standing(history) {
		switch e.Kind {
		case loops.KindInspection:
			add(e.Day, e.Inspection)
		case loops.KindProof:
			add(e.Day, &e.Proof.After)
		}
	}
	return rows
}

// LifePlots draws temperatures and thermal resistance over a loop's life; none
// where fewer than two readings can be set side by side.
func LifePlots(history []loops.Entry, rows []LifeRow) []Life {
	var fills []loops.Day
	for _, e := range loops.Standing(history) {
		if e.BeginsCharge() {
			fills = append(fills, e.Day)
		}
	}
	pick := func(of func(LifeRow) *float64) []lifeValue {
		var values []lifeValue
		for _, row := range rows {
			if v := of(row); v != nil {
				values = append(values, lifeValue{row.Day, *v, 0})
			}
		}
		return values
	}
	total := pick(func(r LifeRow) *float64 { return r.total })
	die, room := pick(func(r LifeRow) *float64 { return r.die }), pick(func(r LifeRow) *float64 { return r.room })
	var plots []Life
	if len(total) > 1 {
		p := newLife("Thermal resistance", "die above room by heat, K/W", 3, fills, named{"last", total})
		p.Sentence = fmt.Sprintf("How many kelvin the die is above the room for each watt: %.3f K/W on %s, %.3f K/W on %s. It rises with dust, old paste, a weak pump or a clog.",
			total[0].v, total[0].day.Long(), total[len(total)-1].v, total[len(total)-1].day.Long())
		plots = append(plots, p)
	}
	if len(die) > 1 {
		p := newLife("Temperatures", "°C", 0, fills, named{"die", die}, named{"room", room})
		p.Sentence = "Die and room as they were read. They compare only at one heat and one room temperature; the resistance takes both out."
		plots = append(plots, p)
	}
	return plots
}

// lifeValue is a figure of a day; plus is its uncertainty, zero where none is
// drawn.
type lifeValue struct {
	day     loops.Day
	v, plus float64
}

// named is a series before it is drawn.
type named struct {
	name   string
	values []lifeValue
}

// newLife draws the series on one scale from the first reading or fill to
// the last reading.
func newLife(heading, unit string, decimals int, fills []loops.Day, series ...named) Life {
	a := lifeAxes{first: series[0].values[0].day, last: series[0].values[0].day, low: math.Inf(1), high: math.Inf(-1)}
	for _, s := range series {
		for _, x := range s.values {
			a.low, a.high = min(a.low, x.v-x.plus), max(a.high, x.v+x.plus)
			if x.day.Before(a.first) {
				a.first = x.day
			}
			if x.day.After(a.last) {
				a.last = x.day
			}
		}
	}
	for _, day := range fills {
		if day.Before(a.first) {
			a.first = day
		}
	}
	step := niceStep(a.high - min(0, a.low))
	a.low, a.high = min(0, step*math.Floor(a.low/step)), step*math.Ceil(a.high/step)
	p := Life{Heading: heading, Unit: unit}
	for v := a.low; v <= a.high+step/2; v += step {
		p.Rules = append(p.Rules, Mark{a.y(v), trueMinus(strconv.FormatFloat(v, 'f', stepDecimals(step), 64))})
	}
	p.Days = []Mark{{a.x(a.first), shortDay(a.first)}}
	if a.last != a.first {
		p.Days = append(p.Days, Mark{a.x(a.last), shortDay(a.last)})
	}
	for _, day := range fills {
		if !day.After(a.last) {
			p.Fills = append(p.Fills, Mark{a.x(day), "filled"})
		}
	}
	for _, s := range series {
		if len(s.values) > 0 {
			p.Series = append(p.Series, a.series(s, decimals))
		}
	}
	return p
}

// shortDay writes a day for an axis.
func shortDay(d loops.Day) string { return strings.TrimSpace(d.Long()[4:]) }

// niceStep is a round distance between rules: about four of them.
func niceStep(span float64) float64 {
	if span <= 0 {
		span = 1
	}
	scale := math.Pow(10, math.Floor(math.Log10(span/4)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*scale >= span/4 {
			return m * scale
		}
	}
	return 10 * scale
}

func stepDecimals(step float64) int { return max(0, -int(math.Floor(math.Log10(step)))) }

// lifeAxes maps day and figure to the drawing.
type lifeAxes struct {
	first, last loops.Day
	low, high   float64
}

func (a lifeAxes) x(day loops.Day) Px {
	return Px(lifeLeft + lifeWidth*float64(day.Sub(a.first))/float64(max(1, a.last.Sub(a.first))))
}

func (a lifeAxes) y(v float64) Px {
	return Px(lifeTop + lifeHeight*(a.high-v)/(a.high-a.low))
}

func (a lifeAxes) series(s named, decimals int) LifeSeries {
	out := LifeSeries{Name: s.name}
	if s.values[0].plus > 0 {
		out.Band = a.band(s.values)
	}
	var line strings.Builder
	for i, x := range s.values {
		point := LifePoint{a.x(x.day), a.y(x.v)}
		fmt.Fprintf(&line, "%c%s %s", step(i), point.X, point.Y)
		out.Points = append(out.Points, point)
	}
	last := out.Points[len(out.Points)-1]
	out.Line, out.NameX, out.NameY = line.String(), last.X+10, last.Y
	out.Last = trueMinus(strconv.FormatFloat(s.values[len(s.values)-1].v, 'f', decimals, 64))
	return out
}
