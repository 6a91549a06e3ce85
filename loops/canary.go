// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "time"

// Canary is how far the letters have come that the workshop sends itself each
// day, to see whether mail leaves and comes back.
type Canary struct {
	// Sent is when the last one was written; zero before the first.
	Sent time.Time `json:"sent"`
	// Waiting is when the first of those was written that have not come since
	// the last that came; zero where none is awaited.
	Waiting time.Time `json:"waiting,omitzero"`
	// Arrived is when the newest of those that came was written, Came when it
	// was read; zero where none came yet.
	Arrived time.Time `json:"arrived,omitzero"`
	Came    time.Time `json:"came,omitzero"`
}

// WithSent is the state once another was written at the instant.
func (c Canary) WithSent(at time.Time) Canary {
	c.Sent = at
	if c.Waiting.IsZero() {
		c.Waiting = at
	}
	return c
}

// WithArrived is the state once the one that was written at the one instant was
// read at the other. An older one than came before changes nothing.
func (c Canary) WithArrived(written, at time.Time) Canary {
	if !written.After(c.Arrived) {
		return c
	}
	c.Arrived, c.Came, c.Waiting = written, at, time.Time{}
	if c.Sent.After(written) {
		// Those in between are as good as come: the newest tells of the way now.
		c.Waiting = c.Sent
	}
	return c
}

// Age is how old the newest one that came is, counted from its writing; false
// where none came yet.
func (c Canary) Age(now time.Time) (time.Duration, bool) {
	return max(0, now.Sub(c.Arrived)), !c.Arrived.IsZero()
}
