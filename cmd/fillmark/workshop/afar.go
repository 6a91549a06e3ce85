// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/notify/links"
	"fillmark/schedule"
)

// ByLogLink is who recorded what a machine sent by its own link.
const ByLogLink = "log link"

// betweenLogs is how long the next log by a link waits after the last: a week
// is one value, however often a machine sends.
const betweenLogs = 6 * 24 * time.Hour

// KeepLog puts on record what a temperature log of a loop showed, with the plan
// that follows from it.
func (w *Workshop) KeepLog(s Stamp, tag loops.Tag, log loops.TemperatureLog) error {
	_, err := retried(w, func() (bool, error) { return w.keepLog(s, tag, log, 0) })
	return err
}

// KeepSentLog is [Workshop.KeepLog] for what a machine sends by itself: kept
// tells whether it was, which is once a week.
func (w *Workshop) KeepSentLog(s Stamp, owner loops.Owner, tag loops.Tag, log loops.TemperatureLog) (kept bool, err error) {
	files, err := w.filesOf(owner.ID)
	if err != nil {
		return false, err
	}
	for _, f := range files {
		if f.Loop.Tag == tag {
			return retried(w, func() (bool, error) { return w.keepLog(s, tag, log, betweenLogs) })
		}
	}
	return false, links.ErrInvalid
}

func (w *Workshop) keepLog(s Stamp, tag loops.Tag, log loops.TemperatureLog, wait time.Duration) (bool, error) {
	file, err := w.File(tag)
	if err != nil {
		return false, err
	}
	for _, e := range loops.Standing(file.History) {
		if e.Kind == loops.KindLog && e.By == s.By && s.At.Sub(e.Recorded) < wait {
			return false, nil
		}
	}
	day := loops.DayOf(s.At, w.zoneOf(file.Owner))
	change, _, err := w.enter(s, file, loops.Entry{Kind: loops.KindLog, Day: day, TemperatureLog: &log})
	if err != nil {
		return false, err
	}
	change.Action = "temperature log"
	return true, w.register.Commit(change)
}

// LogPath is where a machine of the owner sends the log of a loop, from the
// instant on for as long as a calendar works. It lets nobody read or answer.
func (w *Workshop) LogPath(owner loops.Owner, tag loops.Tag, at time.Time) string {
	return "/log/" + w.links.Sign(links.Log, owner, at.AddDate(calendarYears, 0, 0)) + "/" + string(tag)
}

// RunsNow says in an owner's words how the machine runs against the day it was
// given back; empty where nothing says so.
func (f OwnersFile) RunsNow() string {
	handed := f.Loop.State.HandedOver
	a := schedule.AfarOf(f.View.Entries())
	if a == nil || handed.IsZero() {
		return ""
	}
	now := a.Latest()
	if now == nil || now.Day.Before(handed) {
		return ""
	}
	words, err := inspection.OwnersWords(a.Proved, now.Reading)
	switch {
	case err != nil:
		return ""
	case words == inspection.AsThen:
		return fmt.Sprintf("On %s: it %s.", now.Day.Long(), words)
	}
	return fmt.Sprintf("You got it back on %s. On %s: it runs %s, at like work in a like room.", handed.Long(), now.Day.Long(), words)
}
