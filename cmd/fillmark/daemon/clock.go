// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"fmt"
	"time"
)

const (
	// farAhead is by how much the clock may run ahead of the time that passes.
	farAhead = 24 * time.Hour
	// tellFirst is for how long nothing is done by a clock that went farther: so long
	// somebody who is told has to set it. Common practice, no source.
	tellFirst = time.Hour
)

// watchedClock holds what the computer's clock shows against the time that passed.
// The zero value has seen nothing yet. It is for one goroutine.
type watchedClock struct {
	shown         time.Time     // at the last look
	passed, leapt time.Duration // at the last look, and when it went ahead last
	fault         error         // nil while it is acted by
}

// look gives an error while the clock is not to be acted by: it went ahead by more
// than a day at once, and an hour has not passed since. The time that passed is that
// since any one moment.
func (c *watchedClock) look(shown time.Time, passed time.Duration) error {
	shown = shown.Round(0) // what the clock shows, without the time that passed
	before, ahead := c.shown, shown.Sub(c.shown)-(passed-c.passed)
	c.shown, c.passed = shown, passed
	const form = "Mon 2 Jan 2006 15:04 MST"
	switch {
	case before.IsZero(): // the first look
	case ahead > farAhead:
		c.leapt = passed
		c.fault = fmt.Errorf("the clock went from %s to %s at once; set it if that is wrong, and if it is right, what is due is looked after in an hour",
			before.In(shown.Location()).Format(form), shown.Format(form))
	case ahead < -farAhead, passed-c.leapt >= tellFirst:
		c.fault = nil
	}
	return c.fault
}
