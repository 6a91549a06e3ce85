// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"fmt"
	"math"
)

// CheckTable says what is wrong with the tables of the model.
func CheckTable() error {
	one := func(what string, row []float64) error {
		sum := 0.0
		for _, p := range row {
			sum += p
			if p <= 0 {
				return fmt.Errorf("%s: %v has a value that never shows", what, row)
			}
		}
		if math.Abs(sum-1) > 1e-9 {
			return fmt.Errorf("%s: %v adds to %v", what, row, sum)
		}
		return nil
	}
	var priors []float64
	for _, f := range faults() {
		priors = append(priors, f.prior)
		for sign, row := range f.signs {
			q, ok := QuestionOf(sign)
			if !ok || len(q.Values) != len(row) {
				return fmt.Errorf("%s, %s: %v", f.what, sign, row)
			}
			if err := one(f.what+", "+string(sign), row); err != nil {
				return err
			}
		}
	}
	for _, q := range Questions() {
		if q.usual != nil {
			if err := one(string(q.Sign), q.usual); err != nil {
				return err
			}
		}
	}
	return one("priors", priors)
}
