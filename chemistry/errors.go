// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// RangeError says that a value lies outside the published table that would have to answer. There is no extrapolation.
type RangeError struct {
	Quantity string  // what was asked, such as "mass fraction of ethylene glycol"
	Value    float64 // in Unit
	Min, Max float64 // what the table covers, in Unit
	Unit     string  // such as "mass %" or "°C"
	Table    string  // the table, and why it ends where it ends
}

// Error names the value, the range and the table.
func (e *RangeError) Error() string {
	digits := 2
	if e.Unit == "nD" {
		digits = 5
	}
	text := func(v float64) string { return trimmed(v, digits) }
	return fmt.Sprintf("%s %s %s is outside %s to %s %s (%s)", e.Quantity, text(e.Value), e.Unit, text(e.Min), text(e.Max), e.Unit, e.Table)
}

// InvalidError says that an input is impossible, whatever the tables hold.
type InvalidError struct {
	Field  string // what was given, in the caller's words: a flag, a form field; may be empty
	Value  string // what was given for it; empty where nothing was
	Reason string // what would be right
}

// Error names the field, the value and what would be right.
func (e *InvalidError) Error() string {
	field := e.Field
	if field == "" {
		field = "value"
	}
	if e.Value == "" && e.Field != "" {
		return field + ": " + e.Reason
	}
	return fmt.Sprintf("%s %q: %s", field, e.Value, e.Reason)
}

// InField returns err with the field of an [*InvalidError] in it named in the caller's words, such as "--mass". Any other
// error is returned as it is.
func InField(err error, field string) error {
	var invalid *InvalidError
	if errors.As(err, &invalid) {
		return &InvalidError{Field: field, Value: invalid.Value, Reason: invalid.Reason}
	}
	return err
}

// decimal prints a number as people write it: no exponent for the sizes met at a bench, no trailing zeros, no minus zero.
func decimal(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := 6 - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	if math.IsInf(v, 0) || math.IsNaN(v) || digits > 12 {
		return strconv.FormatFloat(v, 'g', 6, 64)
	}
	return trimmed(v, max(0, digits))
}
