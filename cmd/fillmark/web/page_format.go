// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/drawing"
	"fillmark/loops"
	"fillmark/schedule"
)

// formats are the only functions templates have: they write days and
// quantities, and decide nothing.
func formats() template.FuncMap {
	return template.FuncMap{
		"day":  loops.Day.Long,
		"iso":  loops.Day.String,
		"over": schedule.DaysOver,
		"qty":  quantity,
		"one":  oneDecimal,
		"head": loops.Capital,
		"add":  func(a, b int) int { return a + b },
	}
}

// oneDecimal writes a bare figure with one decimal and a true minus sign.
func oneDecimal(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', 1, 64), "-", "\u2212", 1)
}

// minuses gives the figures of a sentence true minus signs.
func minuses(text string) string { return strings.ReplaceAll(text, " -", " \u2212") }

// quantity and figure write as the drawings do.
func quantity(q fmt.Stringer) string       { return drawing.Quantity(q) }
func figure(v float64, unit string) string { return drawing.Figure(v, unit) }

// phoneLink keeps what can be dialled of a telephone number; empty where that
// is too little to be one. Templates take no tel: address but one vouched for,
// which digits are.
func phoneLink(phone string) template.URL {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, phone)
	if len(digits) < 3 {
		return ""
	}
	return template.URL("tel:" + digits)
}

// quantityIn writes a bare figure for a field: a tenth at most.
func quantityIn(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// plusMinusFor is [drawing.PlusMinus] in the units an owner prefers.
func plusMinusFor(units loops.Units, point chemistry.Celsius, plus chemistry.CelsiusDelta) string {
	if units != loops.USCustomary {
		return drawing.PlusMinus(point, plus)
	}
	text := fmt.Sprintf("%.0f\u00a0°F ± %.0f\u00a0°F", float64(point)*9/5+32, math.Ceil(float64(plus)*9/5))
	return strings.Replace(text, "-", "\u2212", 1)
}
