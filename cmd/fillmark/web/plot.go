// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"math"
	"strconv"

	"fillmark/chemistry"
)

// px is a length in the units of a drawing, written with one decimal.
type px float64

// String writes tenths.
func (p px) String() string { return strconv.FormatFloat(float64(p), 'f', 1, 64) }

// mark is one rule of an axis and what stands at it.
type mark struct {
	At    px
	Label string
}

// tenBelow and tenAbove widen a range to whole tens, so that an axis carries
// round figures.
func tenBelow(v float64) float64 { return 10 * math.Floor(v/10) }
func tenAbove(v float64) float64 { return 10 * math.Ceil(v/10) }

// degrees writes a whole temperature for an axis, which names its unit once.
func degrees(v float64) string {
	if v < 0 {
		return fmt.Sprintf("\u2212%.0f", -v)
	}
	return fmt.Sprintf("%.0f", v)
}

// plusMinus writes a freeze point with its uncertainty.
func plusMinus(point chemistry.Celsius, plus chemistry.CelsiusDelta) string {
	return quantity(point) + " ± " + quantity(plus)
}
