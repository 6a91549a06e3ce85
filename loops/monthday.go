// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"strings"
	"time"
)

// MonthDay is a day of every year, written "15 Oct". The zero value is none.
type MonthDay struct {
	Month time.Month
	Dom   int // day of the month, from 1
}

// ParseMonthDay reads what [MonthDay.String] prints.
func ParseMonthDay(text string) (MonthDay, error) {
	// 2024 is a leap year, so that 29 Feb can be read.
	t, err := time.Parse("2 Jan 2006", strings.TrimSpace(text)+" 2024")
	if err != nil {
		return MonthDay{}, invalid("day of the year", text, `a day and an English month, such as "15 Oct"`)
	}
	return MonthDay{t.Month(), t.Day()}, nil
}

// In returns the day in a year; 29 February is the 28th where there is none.
func (m MonthDay) In(year int) Day {
	return Day{year, time.January, m.Dom}.AddMonths(int(m.Month) - 1)
}

// String prints "15 Oct", and "" for the zero value.
func (m MonthDay) String() string {
	if m == (MonthDay{}) {
		return ""
	}
	return time.Date(2024, m.Month, m.Dom, 0, 0, 0, 0, time.UTC).Format("2 Jan")
}

func (m MonthDay) validate(field string) error {
	if _, err := NewDay(2024, m.Month, m.Dom); err != nil {
		return invalid(field, m.String(), `a day of the year, such as "15 Oct"`)
	}
	return nil
}

// MarshalText writes what [MonthDay.String] prints.
func (m MonthDay) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what [MonthDay.String] prints; empty text is none.
func (m *MonthDay) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*m = MonthDay{}
		return nil
	}
	v, err := ParseMonthDay(string(text))
	if err != nil {
		return err
	}
	*m = v
	return nil
}
