// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// problems collects what is wrong with a record, so that a form can mark
// every field at once.
type problems []error

func (p *problems) add(err error) {
	if err != nil {
		*p = append(*p, err)
	}
}

func (p problems) err() error { return errors.Join(p...) }

// oneOf refuses a value that is not among the allowed ones and lists them.
func oneOf[T ~string](field string, value T, allowed ...T) error {
	if slices.Contains(allowed, value) {
		return nil
	}
	var names []string
	for _, a := range allowed {
		if a != "" {
			names = append(names, string(a))
		}
	}
	return invalid(field, string(value), "one of: "+strings.Join(names, ", "))
}

// inRange refuses a number that is not finite or outside [low, high]; unit is
// printed behind the limits.
func inRange[T ~float64](field string, value, low, high T, unit string) error {
	if v := float64(value); math.IsNaN(v) || value < low || value > high {
		return invalid(field, fmt.Sprint(v), fmt.Sprintf("%v to %v %s", float64(low), float64(high), unit))
	}
	return nil
}
