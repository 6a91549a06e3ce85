// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "time"

// Uptime is when the program last looked for what is due, and when it last did
// not for a long while.
type Uptime struct {
	Swept time.Time `json:"swept"`
	// OffFrom and OffTo bound the last time in which nothing looked; zero where
	// there was none longer than [LongOff].
	OffFrom time.Time `json:"off_from,omitzero"`
	OffTo   time.Time `json:"off_to,omitzero"`
}

// LongOff is the silence from which on it counts as one: a computer that sleeps
// at night misses nobody.
const LongOff = 25 * time.Hour

// After is the uptime once it looked at the instant.
func (u Uptime) After(at time.Time) Uptime {
	if !u.Swept.IsZero() && at.Sub(u.Swept) > LongOff {
		u.OffFrom, u.OffTo = u.Swept, at
	}
	u.Swept = at
	return u
}

// OffDays is how many days long the last silence was, where it fell between the
// two days; zero where it did not.
func (u Uptime) OffDays(from, to Day, zone *time.Location) int {
	if u.OffTo.IsZero() {
		return 0
	}
	began, ended := DayOf(u.OffFrom, zone), DayOf(u.OffTo, zone)
	if ended.Before(from) || began.After(to) {
		return 0
	}
	return ended.Sub(began)
}
