// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"unicode"
	"unicode/utf8"
)

// Bounds of what a life may hold; anything beyond is a slip of the pen.
const (
	MaxAge   = 1e12          // in the caller's unit
	MaxCount = 1_000_000_000 // loops in one row
	MaxName  = 80            // bytes of a cause or a group
)

// Kind tells how exactly the age at failure is known.
type Kind int

// The four kinds of a life.
const (
	Exact    Kind = iota // failed in service at a known age
	Interval             // good at one inspection, found failed at the next
	Left                 // found failed at the first opening
	Right                // still good when last inspected
)

// String is the word for the kind.
func (k Kind) String() string {
	return [...]string{"exact", "interval", "left", "right"}[k]
}

// Life is one life of a loop, or Count equal ones. A refill starts a new one.
// The zero value is invalid: Count must be at least 1.
type Life struct {
	// Lower is the age at which the loop was last known good, 0 if it never
	// was seen good; for a failure in service it is the age at failure.
	Lower float64
	// Upper is the age at which it was found failed, +Inf if it was not.
	// Equal to Lower for a failure at a known age.
	Upper float64
	// Entry is the age at which the loop joined the record, at most Lower; 0
	// if it was watched since its fill. Whoever joins late has survived until
	// then, and lives that ended sooner were never seen.
	Entry float64
	// Count is the number of equal lives, 1 to MaxCount.
	Count int
	// Cause is what ended the life, such as "clog"; may be empty, and is not
	// used for a right-censored life.
	Cause string
	// Group is what the life is compared by; may be empty.
	Group string
}

// Kind tells how exactly the age at failure is known.
func (l Life) Kind() Kind { return kindOf(l.Lower, l.Upper) }

func kindOf(lower, upper float64) Kind {
	switch {
	case math.IsInf(upper, 1):
		return Right
	case lower == upper:
		return Exact
	case lower == 0:
		return Left
	default:
		return Interval
	}
}

// Failed reports whether the life ended in a failure.
func (l Life) Failed() bool { return !math.IsInf(l.Upper, 1) }

// check returns the first thing wrong with the life, nil if nothing is. The
// Line of the error is left to the caller.
func (l *Life) check() *InvalidError {
	bad := func(column string, value float64, reason string) *InvalidError {
		return &InvalidError{Column: column, Value: strconv.FormatFloat(value, 'g', -1, 64), Reason: reason}
	}
	switch {
	case !(l.Lower >= 0 && l.Lower <= MaxAge):
		return bad("lower", l.Lower, fmt.Sprintf("an age of at least 0 and at most %g is right", MaxAge))
	case math.IsNaN(l.Upper) || l.Upper < 0 || (l.Upper > MaxAge && !math.IsInf(l.Upper, 1)):
		return bad("upper", l.Upper, fmt.Sprintf("an age of at least 0 and at most %g is right, or Inf for a loop that has not failed", MaxAge))
	case l.Upper < l.Lower:
		return bad("upper", l.Upper, fmt.Sprintf("it is below lower, %g; upper is the age at which the loop was found failed", l.Lower))
	case l.Upper == 0:
		return bad("upper", l.Upper, "a life of no length; a loop found failed on its first day has lower 0 and upper one day")
	case !(l.Entry >= 0 && l.Entry <= MaxAge):
		return bad("entry", l.Entry, fmt.Sprintf("an age of at least 0 and at most %g is right", MaxAge))
	case l.Entry > l.Lower:
		return bad("entry", l.Entry, fmt.Sprintf("it is above lower, %g; a loop joins the record while it is good", l.Lower))
	case l.Entry > 0 && l.Entry == l.Upper:
		return bad("entry", l.Entry, "it equals upper; a loop that failed as it joined was never watched")
	case l.Count < 1 || l.Count > MaxCount:
		return &InvalidError{Column: "count", Value: strconv.Itoa(l.Count), Reason: fmt.Sprintf("a whole number from 1 to %d is right", MaxCount)}
	}
	if reason := badName(l.Cause); reason != "" {
		return &InvalidError{Column: "cause", Value: l.Cause, Reason: reason}
	}
	if reason := badName(l.Group); reason != "" {
		return &InvalidError{Column: "group", Value: l.Group, Reason: reason}
	}
	return nil
}

// badName says what is wrong with the name of a cause or group.
func badName(name string) string {
	plain := len(name) <= MaxName
	for i := 0; i < len(name) && plain; i++ {
		plain = name[i] >= ' ' && name[i] <= '~'
	}
	switch {
	case plain: // as a million of them are
		return ""
	case len(name) > MaxName:
		return fmt.Sprintf("a name of at most %d bytes is right", MaxName)
	case !utf8.ValidString(name):
		return "text in UTF-8 is right"
	case slices.ContainsFunc([]rune(name), unicode.IsControl):
		return "a name without control characters is right"
	}
	return ""
}
