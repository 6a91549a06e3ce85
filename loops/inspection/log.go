// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
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

// ReadLog reads a log as any logging tool writes it: two columns, seconds and
// °C, separated by commas, semicolons or tabs, with or without a header. With
// a header the columns may stand anywhere among others. Lines that begin with
// # and empty ones are skipped. Times are counted from the first reading.
//
// A reading written twice is dropped and noted; a gap is noted. A time that
// goes back, two temperatures at one time, another unit, or a value that is no
// number or out of range is an [*chemistry.InvalidError] naming the line.
func ReadLog(in io.Reader) (Log, error) {
	var log Log
	columns := columns{time: -1}
	doubles, number := 0, 0
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		number++
		text := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if text == "" || text[0] == '#' {
			continue
		}
		cells := columns.split(text)
		if columns.time < 0 {
			header, err := columns.read(cells)
			if err != nil {
				return Log{}, inLine(number, err)
			}
			if header {
				continue
			}
		}
		t, c, err := columns.row(cells)
		if err == nil {
			err = log.add(t, c, &doubles)
		}
		if err != nil {
			return Log{}, inLine(number, err)
		}
	}
	if err := lines.Err(); err != nil {
		return Log{}, inLine(number+1, invalid("log", err, "lines of text with two numbers"))
	}
	if len(log.Seconds) < 2 {
		return Log{}, invalid("log", fmt.Sprintf("%d readings", len(log.Seconds)), "at least 2 readings of seconds and °C")
	}
	return log.finish(doubles)
}

// add appends a reading; doubles counts those that were there already.
func (l *Log) add(t, c float64, doubles *int) error {
	last := len(l.Seconds) - 1
	switch {
	case last >= 0 && t < l.Seconds[last]:
		return invalid("seconds", trim(t, 3), "a time after the one before, "+trim(l.Seconds[last], 3))
	case last >= 0 && t == l.Seconds[last] && c == l.Celsius[last]:
		*doubles++
		return nil
	case last >= 0 && t == l.Seconds[last]:
		return invalid("°C", trim(c, 3), fmt.Sprintf("one temperature at %s s; %s is there already", trim(t, 3), trim(l.Celsius[last], 3)))
	case last+1 == MaxLogRows:
		return invalid("log", "one reading too many", fmt.Sprintf("at most %d readings", MaxLogRows))
	}
	l.Seconds, l.Celsius = append(l.Seconds, t), append(l.Celsius, c)
	return nil
}

// longestLog is how long a log from one load step can sensibly be, in s.
const longestLog = 24 * 3600

// warmestStart is the temperature in °C above which the start of a log is
// noted as odd, never judged by: a machine switched on cold begins near the
// room, and a room of 16 °C reads 60 in °F.
const warmestStart = 60

// finish counts times from zero and notes what was odd.
func (l Log) finish(doubles int) (Log, error) {
	start := l.Seconds[0]
	steps := make([]float64, 0, len(l.Seconds)-1)
	for i := range l.Seconds {
		l.Seconds[i] -= start
		if i > 0 {
			steps = append(steps, l.Seconds[i]-l.Seconds[i-1])
		}
	}
	if span := l.Seconds[len(l.Seconds)-1]; span > longestLog {
		return Log{}, invalid("log", trim(span, 0)+" s long", "seconds, at most a day of them; are these milliseconds?")
	}
	if doubles > 0 {
		l.Notes = append(l.Notes, fmt.Sprintf("%d readings stood there twice and count once", doubles))
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

// columns tells where in a row the two figures stand. Time is -1 before the
// first row.
type columns struct{ time, temperature, separator int }

// split cuts a row at the separator of the file, found in its first row.
func (c *columns) split(row string) []string {
	if c.time < 0 {
		c.separator = ','
		for _, s := range ";\t" {
			if strings.ContainsRune(row, s) {
				c.separator = int(s)
			}
		}
	}
	cells := strings.Split(row, string(rune(c.separator)))
	for i := range cells {
		cells[i] = strings.Trim(strings.TrimSpace(cells[i]), `"`)
	}
	return cells
}

// read sets the columns from the first row and tells whether it is a header.
func (c *columns) read(cells []string) (header bool, err error) {
	if _, err := number(cells[0]); err == nil {
		if len(cells) != 2 {
			return false, invalid("columns", len(cells), "2 columns, seconds and °C, or a header that names them")
		}
		c.time, c.temperature = 0, 1
		return false, nil
	}
	time, temperature, wrong := -1, -1, error(nil)
	for i, cell := range cells {
		name := strings.ToLower(strings.TrimSpace(cell))
		holds := func(parts ...string) bool {
			return slices.ContainsFunc(parts, func(p string) bool { return strings.Contains(name, p) })
		}
		switch {
		case slices.Contains(timeNames(), name):
			time = i
		case slices.Contains(temperatureNames(), name):
			temperature = i
		case holds("°f", "degf", "fahrenheit", "temp_f", "temperature_f", "(f)", "[f]", "kelvin", "temp_k", "(k)", "[k]"):
			wrong = invalid("header", cell, "a temperature column in °C; convert the log first")
		case name == "ms" || holds("_ms", "(ms)", "[ms]", "millisecond", "minute", "(min)", "_min", "hour"):
			wrong = invalid("header", cell, "a time column in seconds; convert the log first")
		}
	}
	switch {
	case (time < 0 || temperature < 0) && wrong != nil:
		return false, wrong
	case time < 0 || temperature < 0:
		return false, invalid("header", strings.Join(cells, ","), "a header that names a column seconds and one celsius, or two columns without a header")
	}
	c.time, c.temperature = time, temperature
	return true, nil
}

func timeNames() []string {
	return []string{"s", "sec", "second", "seconds", "t", "time", "time_s", "time (s)", "time [s]", "seconds (s)", "elapsed", "elapsed_s", "elapsed (s)"}
}

func temperatureNames() []string {
	return []string{"c", "°c", "degc", "celsius", "temp", "temperature", "temp_c", "temperature_c", "temp (°c)", "temp (c)",
		"temperature (°c)", "temperature (c)", "temperature [°c]", "temp [c]", "die", "die_c"}
}

// row reads the two figures of a row.
func (c *columns) row(cells []string) (t, temperature float64, err error) {
	if len(cells) <= max(c.time, c.temperature) {
		return 0, 0, invalid("row", strings.Join(cells, ","), "a row with seconds and °C")
	}
	if t, err = number(cells[c.time]); err != nil || math.Abs(t) > 1e12 {
		return 0, 0, invalid("seconds", cells[c.time], "a number of seconds")
	}
	if temperature, err = number(cells[c.temperature]); err != nil {
		return 0, 0, invalid("°C", cells[c.temperature], "a number of °C")
	}
	if temperature < -60 || temperature > 150 {
		return 0, 0, invalid("°C", cells[c.temperature], "-60 to 150 °C; is this log in °F or kelvin?")
	}
	return t, temperature, nil
}

// number reads a finite number, with a decimal comma where the separator of
// the columns leaves it one.
func number(cell string) (float64, error) {
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(cell), ",", ".", 1), 64)
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		return 0, strconv.ErrSyntax
	}
	return v, err
}

// inLine names the line of the log that an error is in.
func inLine(line int, err error) error {
	if refused, ok := err.(*chemistry.InvalidError); ok {
		return &chemistry.InvalidError{Field: fmt.Sprintf("line %d, %s", line, refused.Field), Value: refused.Value, Reason: refused.Reason}
	}
	return err
}
