// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Number is a figure of an answer. In JSON it is null where it is NaN or
// infinite: not known, or without an end.
type Number float64

// MarshalJSON writes the figure unrounded, or null.
func (n Number) MarshalJSON() ([]byte, error) {
	if !n.Known() {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, float64(n), 'g', -1, 64), nil
}

// Known reports whether there is a figure.
func (n Number) Known() bool { return !math.IsNaN(float64(n)) && !math.IsInf(float64(n), 0) }

// String writes three significant digits, and "unknown" for no figure.
func (n Number) String() string {
	if !n.Known() {
		return "unknown"
	}
	return short(float64(n))
}

// short writes a figure to three significant digits, with an exponent only
// where it would be all noughts.
func short(v float64) string {
	if v == 0 {
		return "0"
	}
	if size := math.Abs(v); size >= 1e9 || size < 1e-4 {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	decimals := min(12, max(0, 2-int(math.Floor(math.Log10(math.Abs(v))))))
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// percent writes a share as a percentage.
func percent(share float64) string { return short(100*share) + " %" }

// pValue writes a p as people read it.
func pValue(p float64) string {
	if p < 0.001 {
		return "p below 0.001"
	}
	return fmt.Sprintf("p = %.3f", p)
}

// Answer is one finding: a figure with its limits, what it rests on, what
// would make it firmer, and one plain sentence.
type Answer struct {
	Question string `json:"question"` // "b10", "cause", "comparison", "curve", "due", "median", "shape", "trait"
	Value    Number `json:"value"`
	Lower    Number `json:"lower"`
	Upper    Number `json:"upper"`
	Basis    Basis  `json:"basis"`
	Sentence string `json:"sentence"`
	Firmer   string `json:"firmer,omitempty"`
}

// Refusal is what is not answered, and what is missing for it.
type Refusal struct {
	What string `json:"what"`
	Why  string `json:"why"`
}

// unknown is no figure.
func unknown() Number { return Number(math.NaN()) }
