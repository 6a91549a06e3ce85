// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strings"
)

// The picture, in pixels.
const (
	svgWidth  = 720
	svgLeft   = 104 // of the axis
	svgRight  = 600
	svgTop    = 40
	svgBottom = 320
	svgLine   = 20 // of text
)

// SVG draws the plot: ink on paper, bands for the limits, names at the curves,
// the numbers at risk below the axis. Colours come from currentColor, so that
// a page sets them; as a file of its own it is drawn in ink. There is no
// style attribute and no script. The ages are labelled with the unit given.
func (p Plot) SVG(unit string) []byte {
	d := drawing{oldest: p.Oldest}
	sentence := wrap(p.Sentence, 86)
	height := svgBottom + svgLine*(4+len(p.Curves)+len(sentence))
	d.line(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" color="#16302E" fill="currentColor" font-family="sans-serif" font-size="14" role="img" aria-labelledby="plot-title plot-text">`,
		svgWidth, height, svgWidth, height)
	d.line(`<title id="plot-title">Share of loops still good, by age</title>`)
	d.line(`<desc id="plot-text">%s</desc>`, escape(p.Sentence))
	d.axes(p, unit)
	ends := labelHeights(p)
	for i, c := range p.Curves {
		d.band(c)
		d.curve(c, i)
		d.text(d.x(c.Until)+8, ends[i]+5, "start", shorten(c.Name, 24))
	}
	if !math.IsNaN(p.Mark) {
		x, y := d.x(p.Mark), d.y(0.9)
		d.line(`<path d="M%.1f %.1fV%d" stroke="currentColor" stroke-opacity="0.4"/>`, x, y, svgBottom)
		d.line(`<rect class="fill-mark" x="%.1f" y="%.1f" width="16" height="6"/>`, x-8, y-3)
		d.text(x+8, svgBottom-8, "start", "nine in ten still good at "+short(p.Mark)+", with 95 % confidence")
	}
	d.risk(p)
	for i, line := range sentence {
		d.text(svgLeft, float64(svgBottom+svgLine*(4+len(p.Curves)+i)), "start", line)
	}
	d.line(`</svg>`)
	return d.out.Bytes()
}

// drawing turns data into lines of SVG.
type drawing struct {
	out    bytes.Buffer
	oldest float64
}

func (d *drawing) line(format string, args ...any) { fmt.Fprintf(&d.out, format+"\n", args...) }

func (d *drawing) x(age float64) float64   { return svgLeft + age/d.oldest*(svgRight-svgLeft) }
func (d *drawing) y(share float64) float64 { return svgBottom - share*(svgBottom-svgTop) }

func (d *drawing) text(x, y float64, anchor, text string) {
	d.line(`<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, escape(text))
}

func (d *drawing) axes(p Plot, unit string) {
	d.text(svgLeft, svgTop-16, "start", "still good, % of loops")
	for _, share := range []float64{0, 0.25, 0.5, 0.75, 1} {
		d.line(`<path d="M%d %.1fH%d" stroke="currentColor" stroke-opacity="0.2"/>`, svgLeft, d.y(share), svgRight)
		d.text(svgLeft-8, d.y(share)+5, "end", short(100*share))
	}
	for _, age := range p.Ages {
		d.text(d.x(age), svgBottom+svgLine, "middle", short(age))
	}
	label := "age"
	if unit != "" {
		label += ", " + unit
	}
	d.text(svgRight+28, svgBottom+svgLine, "start", label)
}

// band draws the limits as an area; ages without limits keep the last ones.
// Where survival falls between two ages nobody knows, the lower limit falls
// with the first and the upper one with the second.
func (d *drawing) band(c PlotCurve) {
	type corner struct{ x, level float64 }
	var under []corner
	var path strings.Builder
	fmt.Fprintf(&path, "M%.1f %.1f", d.x(c.Start), d.y(1))
	lower := 1.0
	for _, p := range c.Points {
		if !p.Lower.Known() || !p.Upper.Known() {
			continue
		}
		falls := p.Age
		if c.Between && p.From.Known() {
			falls = float64(p.From)
		}
		under = append(under, corner{d.x(falls), d.y(lower)})
		lower = float64(p.Lower)
		fmt.Fprintf(&path, "H%.1fV%.1f", d.x(p.Age), d.y(float64(p.Upper)))
	}
	fmt.Fprintf(&path, "H%.1fV%.1f", d.x(c.Until), d.y(lower))
	for i := len(under) - 1; i >= 0; i-- {
		fmt.Fprintf(&path, "H%.1fV%.1f", under[i].x, under[i].level)
	}
	d.line(`<path d="%sH%.1fZ" fill-opacity="0.15"/>`, path.String(), d.x(c.Start))
}

// curve draws survival as steps. Where it falls between two ages nobody knows,
// the fall is drawn slanted.
func (d *drawing) curve(c PlotCurve, number int) {
	var path strings.Builder
	fmt.Fprintf(&path, "M%.1f %.1f", d.x(c.Start), d.y(1))
	for _, p := range c.Points {
		if c.Between && p.From.Known() {
			fmt.Fprintf(&path, "H%.1fL%.1f %.1f", d.x(float64(p.From)), d.x(p.Age), d.y(p.Survival))
			continue
		}
		fmt.Fprintf(&path, "H%.1fV%.1f", d.x(p.Age), d.y(p.Survival))
	}
	dash := [mostDrawn]string{"none", "8 4", "2 4", "12 4 2 4"}[number%mostDrawn]
	d.line(`<path d="%s" fill="none" stroke="currentColor" stroke-width="2" stroke-dasharray="%s"/>`, path.String(), dash)
}

// risk writes the numbers under watch below the axis.
func (d *drawing) risk(p Plot) {
	y := float64(svgBottom + 5*svgLine/2)
	d.text(svgRight+28, y, "start", "loops at risk")
	for i, c := range p.Curves {
		for j, n := range c.AtRisk {
			d.text(d.x(p.Ages[j]), y+float64(i*svgLine), "middle", fmt.Sprint(n))
		}
		if i > 0 || c.Name != "" {
			d.text(svgLeft-28, y+float64(i*svgLine), "end", shorten(c.Name, 9))
		}
	}
}

// labelHeights places a name at the end of each curve, apart from each other.
func labelHeights(p Plot) []float64 {
	d := drawing{oldest: p.Oldest}
	out := make([]float64, len(p.Curves))
	for i, c := range p.Curves {
		out[i] = d.y(c.Points[len(c.Points)-1].Survival)
	}
	for range p.Curves { // the few there are settle in as many rounds
		for i := range out {
			for j := range out {
				if gap := out[j] - out[i]; i != j && math.Abs(gap) < svgLine && (gap > 0 || gap == 0 && j > i) {
					out[j] = out[i] + svgLine
				}
			}
		}
	}
	return out
}

func escape(text string) string {
	var out strings.Builder
	_ = xml.EscapeText(&out, []byte(text)) // a Builder takes everything
	return out.String()
}

func shorten(name string, most int) string {
	letters := []rune(name)
	if len(letters) <= most {
		return name
	}
	return string(letters[:most-1]) + "…"
}

// wrap breaks text into lines of at most the number of letters.
func wrap(text string, most int) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > most {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}
