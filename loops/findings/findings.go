// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package findings answers "pattern or chance?", "how long do these last?"
// and "when should I look?" from the lives of loops, and says no more than
// the data can carry.
//
// A [Life] is one row of the statistics: from fill to failure, or from fill
// to last known good. [NewLives] checks and merges them, [ReadCSV] reads them
// from a file. [KaplanMeier], [Turnbull], [Incidence] and [FitWeibull] are the
// estimates; [Compare] sets loops against others of their age; [LifeSpan] and [PlanLooks] say when a look is worth its cost.
// [Analyse], [Explore] and [Watch] turn them into a figure, what it rests on,
// what would make it firmer, and one plain sentence, or a [Refusal] that names
// what is missing.
//
// All ages are in one unit, whichever the caller uses: months since fill in
// the register (a month is 30.4375 days), the file's own unit in a file. All
// probabilities and shares are 0 to 1. Intervals are two-sided 95 % and
// bounds one-sided 95 % unless a level is given.
//
// Everything here is a pure function of its arguments and safe for concurrent
// use. Callers may match [InvalidError], [ErrNoFailures], [ErrNoShape],
// [ErrIntervals], [ErrLateEntry] and [ErrNoContrast].
//
// The methods and their sources are in doc/findings.md.
package findings

import (
	"errors"
	"fmt"
)

// DueShare is the share of loops that may have failed by an age called safe.
const DueShare = 0.10

// ErrNoFailures is returned by an estimate that needs failures and got none.
var ErrNoFailures = errors.New("no failure on record")

// ErrNoShape is returned by a fit whose likelihood has no maximum: the lives
// do not say how the risk changes with age.
var ErrNoShape = errors.New("the lives do not say how the risk changes with age")

// ErrIntervals is returned by a method that needs the age of each failure,
// where some are only known to lie between two inspections.
var ErrIntervals = errors.New("some failures are only known to lie between two inspections")

// ErrLateEntry is returned by a method that cannot use lives which were not
// watched from the fill on.
var ErrLateEntry = errors.New("some loops joined the record already aged")

// InvalidError is a value that cannot be right.
type InvalidError struct {
	Line   int    // line of a file, from 1; 0 where there is no file
	Column string // column or field
	Value  string // as given
	Reason string // what would be right
}

// Error names the line, the column, the value and what would be right.
func (e *InvalidError) Error() string {
	where := ""
	if e.Line > 0 {
		where = fmt.Sprintf("line %d, ", e.Line)
	}
	return fmt.Sprintf("%scolumn %s: %q: %s", where, e.Column, e.Value, e.Reason)
}
