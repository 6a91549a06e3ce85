// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/notify/links"
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
	var back, now *inspection.Reading
	var day loops.Day
	read := func(die, room *chemistry.Celsius, watts inspection.Watt, on loops.Day) {
		now = &inspection.Reading{Die: die, Room: room, Power: &watts, Steady: true, TemperatureUncertainty: 2, PowerUncertainty: watts / 5}
		day = on
	}
	for _, e := range loops.Standing(f.View.Entries()) {
		switch e.Kind {
		case loops.KindFill, loops.KindDrain, loops.KindOpening, loops.KindSwap:
			back, now = nil, nil
		case loops.KindProof:
			back, now = nil, nil
			if x := e.Proof.After; e.Proof.Valid() && x.Die != nil && x.Room != nil && x.PowerW != nil {
				back = new(x.Reading())
			}
		case loops.KindInspection:
			if x := e.Inspection; x.Die != nil && x.Room != nil && x.PowerW != nil && x.Steady {
				now, day = new(x.Reading()), e.Day
			}
		case loops.KindAnswer:
			if back != nil && e.Answer.Tells() {
				read(e.Answer.Die, e.Answer.Room, *back.Power, e.Day)
			}
		case loops.KindLog:
			if back != nil {
				x := e.TemperatureLog
				last, watts := x.Weeks[len(x.Weeks)-1], *back.Power
				if x.PowerW != nil {
					watts = inspection.Watt(*x.PowerW)
				}
				read(&last.Warmest, &x.Room, watts, last.Day)
			}
		}
	}
	handed := f.Loop.State.HandedOver
	if back == nil || now == nil || handed.IsZero() || day.Before(handed) {
		return ""
	}
	words, err := inspection.OwnersWords(*back, *now)
	switch {
	case err != nil:
		return ""
	case words == inspection.AsThen:
		return fmt.Sprintf("On %s it %s.", day.Long(), words)
	}
	return fmt.Sprintf("You got it back on %s. On %s it ran %s, at similar work in a similar room.", handed.Long(), day.Long(), words)
}
