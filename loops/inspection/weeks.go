// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"io"
	"math"
	"time"

	"fillmark/chemistry"
)

// Week is a week of a temperature log.
type Week struct {
	Start time.Time // Monday 00:00 UTC, so that the weeks of two logs are the same ones
	// Warmest is the mean of the week's warmest hour, with the machine at work.
	Warmest chemistry.Celsius
	// Room is the mean of the air about it in that hour; nil where the log has none.
	Room  *chemistry.Celsius
	Hours int // with values in them
}

const (
	week = 7 * 24 * time.Hour
	// mostWeeks bounds what a log may cover: ten years.
	mostWeeks = 522
	// sinceStart is the year below which times count from the log's start.
	sinceStart = 1980
)

// hour gathers the values of one hour.
type hour struct {
	start   time.Time
	sum     float64
	n       int
	roomSum float64
	roomN   int
}

// room is the mean of the hour's air; nil where no line of it says one.
func (h hour) room() *chemistry.Celsius {
	if h.roomN == 0 {
		return nil
	}
	return new(chemistry.Celsius(h.roomSum / float64(h.roomN)))
}

// ReadWeeks reads a log as [ReadSeries] does and returns its weeks in their
// order, in bounded memory: a log that counts seconds from its own start ends
// with end. A log of more than ten years is an [*chemistry.InvalidError].
func ReadWeeks(in io.Reader, columns *Columns, end time.Time) ([]Week, Series, error) {
	var weeks []Week
	var now hour
	var full error
	close := func() {
		if now.n == 0 {
			return
		}
		mean := chemistry.Celsius(now.sum / float64(now.n))
		start := now.start.Truncate(week)
		if n := len(weeks); n == 0 || weeks[n-1].Start.Before(start) {
			if n == mostWeeks {
				full = invalid("log", fmt.Sprintf("more than %d weeks", mostWeeks), "ten years at most")
				return
			}
			weeks = append(weeks, Week{Start: start, Warmest: mean, Room: now.room()})
		}
		last := &weeks[len(weeks)-1]
		if mean > last.Warmest {
			last.Warmest, last.Room = mean, now.room()
		}
		last.Hours = min(last.Hours+1, int(week/time.Hour))
	}
	series, err := ReadSeries(in, columns, func(v Value) {
		if start := v.At.Truncate(time.Hour); !start.Equal(now.start) {
			close()
			now = hour{start: start}
		}
		now.sum, now.n = now.sum+v.Celsius, now.n+1
		if !math.IsNaN(v.Room) {
			now.roomSum, now.roomN = now.roomSum+v.Room, now.roomN+1
		}
	})
	close()
	if err == nil {
		err = full
	}
	if err != nil {
		return nil, series, err
	}
	if series.Last.Year() < sinceStart {
		shift := end.Sub(series.Last)
		series.First, series.Last = series.First.Add(shift), end
		for i := range weeks {
			weeks[i].Start = weeks[i].Start.Add(shift)
		}
	}
	return weeks, series, nil
}
