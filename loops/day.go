// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"time"

	"fillmark/chemistry"
)

// Day is a civil day of the Gregorian calendar without a zone, written
// 2006-01-02. The zero value is no day at all.
type Day struct {
	Year  int
	Month time.Month
	Dom   int // day of the month, from 1
}

// The years a day may have: wide enough for any machine on a bench, narrow
// enough that a mistyped year is noticed.
const (
	MinYear = 1970
	MaxYear = 2200
)

// NewDay returns the day, or an [InvalidError] where the calendar has none.
func NewDay(year int, month time.Month, dom int) (Day, error) {
	t := time.Date(year, month, dom, 0, 0, 0, 0, time.UTC)
	if t.Year() != year || t.Month() != month || t.Day() != dom || year < MinYear || year > MaxYear {
		return Day{}, invalid("day", fmt.Sprintf("%d-%02d-%02d", year, int(month), dom),
			fmt.Sprintf("a day of the calendar from %d to %d, such as 2026-12-03", MinYear, MaxYear))
	}
	return Day{year, month, dom}, nil
}

// ParseDay reads 2006-01-02 and nothing else.
func ParseDay(text string) (Day, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return Day{}, invalid("day", text, "a day written as year-month-day, such as 2026-12-03")
	}
	return NewDay(t.Year(), t.Month(), t.Day())
}

// DayOf returns the civil day that the instant falls on in the zone.
func DayOf(instant time.Time, zone *time.Location) Day {
	y, m, d := instant.In(zone).Date()
	return Day{y, m, d}
}

// validate refuses a value that is no day of the calendar: such a one could
// be written and never be read again.
func (d Day) validate(field string) error {
	if _, err := NewDay(d.Year, d.Month, d.Dom); err != nil {
		return chemistry.InField(err, field)
	}
	return nil
}

// IsZero tells that the value is no day.
func (d Day) IsZero() bool { return d == Day{} }

// midnight is the day in UTC, where every day has 24 hours: only a carrier
// for calendar arithmetic, never an instant shown to anyone.
func (d Day) midnight() time.Time {
	return time.Date(d.Year, d.Month, d.Dom, 0, 0, 0, 0, time.UTC)
}

// AddDays returns the day n days later (earlier where n is negative).
func (d Day) AddDays(n int) Day {
	y, m, dom := d.midnight().AddDate(0, 0, n).Date()
	return Day{y, m, dom}
}

// AddMonths returns the same day n months later, clamped to the month's last
// day: 31 January plus one month is 28 or 29 February.
func (d Day) AddMonths(n int) Day {
	first := time.Date(d.Year, d.Month+time.Month(n), 1, 0, 0, 0, 0, time.UTC)
	last := first.AddDate(0, 1, -1).Day()
	return Day{first.Year(), first.Month(), min(d.Dom, last)}
}

// Sub returns the number of days from o to d; negative where d is earlier.
func (d Day) Sub(o Day) int {
	return int(d.midnight().Sub(o.midnight()).Round(time.Hour) / (24 * time.Hour))
}

// Compare orders days: -1 where d is earlier than o, 0 where equal, else +1.
func (d Day) Compare(o Day) int { return d.midnight().Compare(o.midnight()) }

// Before tells whether d is earlier than o.
func (d Day) Before(o Day) bool { return d.Compare(o) < 0 }

// After tells whether d is later than o.
func (d Day) After(o Day) bool { return d.Compare(o) > 0 }

// Weekday returns the day of the week.
func (d Day) Weekday() time.Weekday { return d.midnight().Weekday() }

// At returns the first instant at or after hour:00 on the day in the zone. On
// a day on which the clock skips that hour it is the instant of the skip.
func (d Day) At(hour int, zone *time.Location) time.Time {
	return time.Date(d.Year, d.Month, d.Dom, hour, 0, 0, 0, zone)
}

// String prints the day as 2006-01-02, and "" for the zero day.
func (d Day) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Dom)
}

// Long prints the day as people write it: "Thu 3 Dec 2026".
func (d Day) Long() string {
	if d.IsZero() {
		return "no day"
	}
	return d.midnight().Format("Mon 2 Jan 2006")
}

// MarshalText writes what [Day.String] prints.
func (d Day) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what [Day.String] prints; empty text is the zero day.
func (d *Day) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Day{}
		return nil
	}
	v, err := ParseDay(string(text))
	if err != nil {
		return err
	}
	*d = v
	return nil
}
