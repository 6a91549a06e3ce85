// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package drawing lays out what pages and labels draw of a loop: its liquid on
// the freeze curve, its coldest wall on a gauge, its readings over its life, and
// the QR code of its label. A drawing is plain data in drawing units, with the
// sentence that says the same to whoever does not see it; a template writes the
// SVG.
package drawing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fillmark/chemistry"
)

// Px is a length in the units of a drawing, written with one decimal.
type Px float64

// String writes tenths.
func (p Px) String() string { return strconv.FormatFloat(float64(p), 'f', 1, 64) }

// Mark is one rule of an axis and what stands at it.
type Mark struct {
	At    Px
	Label string
}

// tenBelow and tenAbove widen a range to whole tens, so that an axis carries
// round figures.
func tenBelow(v float64) float64 { return 10 * math.Floor(v/10) }
func tenAbove(v float64) float64 { return 10 * math.Ceil(v/10) }

// degrees writes a whole temperature for an axis, which names its unit once.
func degrees(v float64) string { return trueMinus(fmt.Sprintf("%.0f", v)) }

// PlusMinus writes a freeze point with its uncertainty.
func PlusMinus(point chemistry.Celsius, plus chemistry.CelsiusDelta) string {
	return Quantity(point) + " ± " + Quantity(plus)
}

// Quantity writes a quantity with a true minus sign and a blank that does not
// break before its unit.
func Quantity(q fmt.Stringer) string {
	return trueMinus(strings.ReplaceAll(q.String(), " ", "\u00a0"))
}

// Figure writes a bare number in the shortest form with its unit.
func Figure(v float64, unit string) string {
	return trueMinus(strconv.FormatFloat(v, 'f', -1, 64)) + "\u00a0" + unit
}

// trueMinus writes the minus sign before a number as print does.
func trueMinus(text string) string {
	if rest, ok := strings.CutPrefix(text, "-"); ok {
		return "\u2212" + rest
	}
	return text
}
