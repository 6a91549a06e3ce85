// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// MaxLogRows is how many readings a temperature log may have.
const MaxLogRows = 1_000_000

// Log is a temperature log from the moment a load was put on: rising times
// from zero on.
type Log struct {
	Seconds []float64
	Celsius []float64
	// Notes say what was found in the file and how it was dealt with.
	Notes []string
}

// ReadLog reads a short log as [ReadSeries] reads a long one, and counts its times
// from the first reading. It is strict: a value that ReadSeries would leave out is
// an [*chemistry.InvalidError] naming the line or JSON object, but for a time that was there
// already, of which the first reading counts. That is noted, and so is a gap.
func ReadLog(in io.Reader) (Log, error) {
	var log Log
	var start time.Time
	series, err := ReadSeries(in, &Columns{Room: NoRoom}, func(v Value) {
		if len(log.Seconds) == 0 {
			start = v.At
		}
		if len(log.Seconds) < MaxLogRows {
			log.Seconds, log.Celsius = append(log.Seconds, v.At.Sub(start).Seconds()), append(log.Celsius, v.Celsius)
		}
	})
	name := strings.ToLower(series.Columns.Time)
	notSeconds := slices.ContainsFunc([]string{"ms", "milli", "min", "hour"}, func(unit string) bool { return strings.Contains(name, unit) })
	switch {
	case series.leftOut != nil:
		return Log{}, series.leftOut
	case err != nil:
		return Log{}, err
	case notSeconds && series.Last.Year() < sinceStart:
		return Log{}, invalid("columns", series.Columns.Time, "a column of times in seconds; convert the log first")
	case series.Read < 2:
		return Log{}, invalid("log", fmt.Sprintf("%d readings", series.Read), "at least 2 readings of seconds and °C")
	case series.Read > MaxLogRows:
		return Log{}, invalid("log", fmt.Sprintf("%d readings", series.Read), fmt.Sprintf("at most %d readings", MaxLogRows))
	}
	return log.finish(series.Skipped[SkipTwice])
}

// longestLog is how long a log from one load step can sensibly be, in s.
const longestLog = 24 * 3600

// warmestStart is the temperature in °C above which the start of a log is
// noted as odd, never judged by: a machine switched on cold begins near the
// room, and a room of 16 °C reads 60 in °F.
const warmestStart = 60

// finish notes what was odd.
func (l Log) finish(doubles int) (Log, error) {
	steps := make([]float64, 0, len(l.Seconds)-1)
	for i := 1; i < len(l.Seconds); i++ {
		steps = append(steps, l.Seconds[i]-l.Seconds[i-1])
	}
	if span := l.Seconds[len(l.Seconds)-1]; span > longestLog {
		return Log{}, invalid("log", trim(span, 0)+" s long", "seconds, at most a day of them; are these milliseconds?")
	}
	if doubles > 0 {
		l.Notes = append(l.Notes, fmt.Sprintf("%d readings at a time that was there already; the first counts", doubles))
	}
	if first := l.Celsius[0]; first > warmestStart {
		l.Notes = append(l.Notes, fmt.Sprintf("it starts at %s °C, far above any room: is it in °F, or did it begin long after switching on", trim(first, 1)))
	}
	sorted := slices.Sorted(slices.Values(steps))
	usual := sorted[len(sorted)/2]
	gaps, longest := 0, 0.0
	for _, s := range steps {
		if s > 3*usual {
			gaps++
			longest = max(longest, s)
		}
	}
	if gaps > 0 {
		l.Notes = append(l.Notes, fmt.Sprintf("%d gaps, the longest %s s where %s s is usual; nothing was put into them", gaps, trim(longest, 1), trim(usual, 1)))
	}
	return l, nil
}
