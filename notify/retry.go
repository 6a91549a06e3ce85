// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fmt"
	"slices"
	"time"
)

// RetryPlan lists how long to wait after the first, second, … failed attempt.
// When the list ends the message is given up.
type RetryPlan []time.Duration

// DefaultRetryPlan follows RFC 5321 4.5.4.1: a second attempt within the first
// hour, then one every two to three hours, given up after four to five days.
func DefaultRetryPlan() RetryPlan {
	return slices.Concat(
		RetryPlan{30 * time.Minute, 2 * time.Hour, 2 * time.Hour},
		slices.Repeat(RetryPlan{3 * time.Hour}, 34))
}

// Validate refuses a plan that never waits or never ends.
func (p RetryPlan) Validate() error {
	if len(p) == 0 || len(p) > 1000 {
		return invalid("retry plan", fmt.Sprint(len(p)), "1 to 1000 intervals")
	}
	for _, d := range p {
		if d < time.Minute || d > 7*24*time.Hour {
			return invalid("retry plan", d.String(), "intervals of 1m to 168h")
		}
	}
	return nil
}

// After returns how long to wait after the attempt with this number, counted
// from 1; false where the plan has ended.
func (p RetryPlan) After(attempt int) (time.Duration, bool) {
	if attempt < 1 || attempt > len(p) {
		return 0, false
	}
	return p[attempt-1], true
}
