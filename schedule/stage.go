// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"slices"
	"time"

	"fillmark/loops"
)

// Stages lists the stages in order.
func Stages() []loops.Stage {
	return []loops.Stage{loops.StageAhead, loops.StageDue, loops.StageLate, loops.StageLast, loops.StageCall}
}

// further returns the later of two stages; "" is before all.
func further(a, b loops.Stage) loops.Stage {
	if slices.Index(Stages(), a) < slices.Index(Stages(), b) {
		return b
	}
	return a
}

// StageOn returns the stage that a task due on a day has reached on another
// day; ok is false before the first.
func StageOn(p loops.Policy, due, today loops.Day) (stage loops.Stage, ok bool) {
	switch past := today.Sub(due); {
	case past < -p.AheadDays:
		return "", false
	case past < 0:
		return loops.StageAhead, true
	case past < p.LateDays:
		return loops.StageDue, true
	case past < p.LastDays:
		return loops.StageLate, true
	case past < p.CallDays:
		return loops.StageLast, true
	}
	return loops.StageCall, true
}

// Furthest returns the latest civil day that has begun anywhere on earth at
// the instant: clocks run at most 14 hours ahead of UTC.
func Furthest(now time.Time) loops.Day {
	return loops.DayOf(now, time.FixedZone("UTC+14", 14*60*60))
}

// Horizon returns the last due day that any owner can be reminded of at the
// instant, the rest of a visit with it: a sweep reads the due index up to and
// with it.
func Horizon(p loops.Policy, now time.Time) loops.Day {
	return Furthest(now).AddDays(p.AheadDays + p.JoinDays)
}

// SendableAt returns the first instant at or after hour:00 on the day in the
// zone. Where the clocks skip that hour, or the whole day, it is the instant
// of the skip.
func SendableAt(day loops.Day, hour int, zone *time.Location) time.Time {
	t := day.At(hour, zone)
	got := loops.DayOf(t, zone)
	if got == day && t.Hour() == hour && t.Minute() == 0 {
		return earlier(t).UTC()
	}
	// In a gap the library takes the offset from before it or after it, so the
	// result lies on one side of the skip or the other.
	start, end := t.ZoneBounds()
	if got.Before(day) || got == day && t.Hour() < hour {
		return end.UTC()
	}
	return start.UTC()
}

// earlier returns the first of two instants at which the clock shows the same,
// where it was set back over it: the library does not say which one it gives.
func earlier(t time.Time) time.Time {
	start, _ := t.ZoneBounds()
	if start.IsZero() {
		return t
	}
	_, after := t.Zone()
	_, before := start.Add(-time.Second).Zone()
	first := t.Add(-time.Duration(before-after) * time.Second)
	if before > after && first.Before(start) {
		return first
	}
	return t
}
