// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
)

// ArrivedAfter is how long after the relay took a letter it counts as arrived:
// most servers report within it that they could not deliver (RFC 5321 4.5.4.1
// has them try for four to five days, common practice is less).
const ArrivedAfter = 72 * time.Hour

// Letters is what was written to an owner about one task due on one day.
type Letters struct {
	// Stages are those that had their letter, arrived or not.
	Stages []loops.Stage
	// Arrived counts the letters that the relay took [ArrivedAfter] ago, or
	// longer, and that did not come back; Pending those that it took since.
	Arrived, Pending int
	// Failure says in a few words why the last one did not arrive; empty where
	// none failed.
	Failure string
	// OffDays is how long the program was off while letters were due.
	OffDays int
}

// had tells whether the stage, or one after it, had its letter.
func (l Letters) had(stage loops.Stage) bool {
	return slices.ContainsFunc(l.Stages, func(s loops.Stage) bool { return further(s, stage) == s })
}

// Tone is how a letter at the stage may speak: nobody hears of a last reminder
// who did not get two before it, nor of a late one who got none.
func (l Letters) Tone(stage loops.Stage) loops.Stage {
	switch {
	case stage == loops.StageLast && l.Arrived >= 2:
		return loops.StageLast
	case (stage == loops.StageLast || stage == loops.StageLate) && l.Arrived >= 1:
		return loops.StageLate
	case stage == loops.StageAhead:
		return loops.StageAhead
	}
	return loops.StageDue
}

// Evidence says in half a sentence what was written and what became of it.
func (l Letters) Evidence() string {
	written := len(l.Stages)
	switch {
	case written == 0 && l.OffDays > 0:
		return fmt.Sprintf("never mailed: off for %d days", l.OffDays)
	case written == 0:
		return "never mailed"
	}
	said := fmt.Sprintf("%d written, %d arrived", written, l.Arrived)
	if l.Pending > 0 {
		said += fmt.Sprintf(", %d on the way", l.Pending)
	}
	if l.Failure != "" {
		said += ": " + l.Failure
	}
	return said
}
