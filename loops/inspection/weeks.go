// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"io"
	"time"

	"fillmark/chemistry"
)

// Week is a week of a temperature log.
type Week struct {
	Start time.Time // Monday 00:00 UTC, so that the weeks of two logs are the same ones
	// Warmest is the mean of the week's warmest hour, with the machine at work.
	Warmest chemistry.Celsius
	Hours   int // with values in them
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
	start time.Time
	sum   float64
	n     int
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
			weeks = append(weeks, Week{Start: start, Warmest: mean})
		}
		last := &weeks[len(weeks)-1]
		last.Warmest, last.Hours = max(last.Warmest, mean), min(last.Hours+1, int(week/time.Hour))
	}
	series, err := ReadSeries(in, columns, func(at time.Time, celsius float64) {
		if start := at.Truncate(time.Hour); !start.Equal(now.start) {
			close()
			now = hour{start: start}
		}
		now.sum, now.n = now.sum+celsius, now.n+1
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
