// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

func TestReadLog(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, text string
		seconds    []float64
		celsius    []float64
		notes      string
	}{
		{"plain", "0,40\n1,41.5\n2,42\n", []float64{0, 1, 2}, []float64{40, 41.5, 42}, ""},
		{"header, comments, blank lines, CRLF", "# logger\r\nseconds,celsius\r\n\r\n0,40\r\n1,41\r\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"byte order mark", "\ufeffseconds;celsius\n0;40\n1;41\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"columns elsewhere", "n,Temp (°C),fan,Time (s)\n1,40,900,10\n2,41,910,11\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"decimal commas", "0,5;40,25\n1,5;41,5\n", []float64{0, 1}, []float64{40.25, 41.5}, ""},
		{"tabs and quotes", "\"0\"\t\"40\"\n\"1\"\t\"41\"\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"times of a clock", "1780000000,40\n1780000001,41\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"another unit beside", "time_s,temp_f,temp_c\n0,104,40\n1,122,50\n", []float64{0, 1}, []float64{40, 50}, ""},
		{"a reading twice", "0,40\n1,41\n1,41\n2,42\n", []float64{0, 1, 2}, []float64{40, 41, 42}, "1 readings at a time that was there already"},
		{"two in a second, by a logger of whole ones", "0,40\n1,41\n1,41.5\n2,42\n", []float64{0, 1, 2}, []float64{40, 41, 42}, "the first counts"},
		{"parts of a second", "0.25;40\n0,75;41\n1.25;42\n", []float64{0, .5, 1}, []float64{40, 41, 42}, ""},
		{"parts of a second by the clock", "time,temp\n2026-11-01 10:00:00.250,40\n2026-11-01 10:00:00.750,41\n", []float64{0, .5}, []float64{40, 41}, ""},
		{"short names", "s;c\n0;40\n1;41\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"°F by its header", "seconds,temp_f\n0,104\n1,122\n", []float64{0, 1}, []float64{40, 50}, ""},
		{"milliseconds since 1970", "time_ms,temp\n1780000000500,40\n1780000001500,41\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"JSON, with a room", "{\"time\":1,\"temp\":40,\"room\":\"-\"}{\"time\":2,\"temp\":41}", []float64{0, 1}, []float64{40, 41}, ""},
		{"metrics", "temp{a=\"b\"} 40 1780000000000\ntemp{a=\"b\"} 41 1780000001000\n", []float64{0, 1}, []float64{40, 41}, ""},
		{"a gap", "0,40\n1,41\n2,42\n9,50\n10,51\n", []float64{0, 1, 2, 9, 10}, []float64{40, 41, 42, 50, 51}, "1 gaps, the longest 7 s where 1 s is usual"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			l, err := inspection.ReadLog(strings.NewReader(tt.text))
			require.NoError(t, err)
			assert.Equal(t, tt.seconds, l.Seconds)
			assert.Equal(t, tt.celsius, l.Celsius)
			assert.Contains(t, strings.Join(l.Notes, "; "), tt.notes)
			assert.Equal(t, tt.notes == "", len(l.Notes) == 0)
		})
	}
}

func TestReadLogRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, text, field, reason string }{
		{"time going back", "0,40\n2,41\n1,42\n", "line 3", "a later time and a temperature in °C (time goes back"},
		{"kelvin by its size", "0,313.2\n1,314.2\n", "line 1", "in °F or kelvin?"},
		{"milliseconds by the header", "time_ms,celsius\n0,40\n1000,41\n", "columns", "in seconds; convert"},
		{"minutes by the header", "time (min),celsius\n0,40\n1,41\n", "columns", "in seconds; convert"},
		{"milliseconds by their size", "0,40\n90000000,41\n", "log", "milliseconds?"},
		{"no number", "0,40\n1,hot\n", "line 2", "no number"},
		{"not finite", "0,40\n\n# a note\n1,NaN\n", "line 4", "no number"},
		{"time of day", "0,40\n12:00:01,41\n", "line 2", "no time"},
		{"unknown header", "when,what\n0,40\n", "columns", "one with the time; name it"},
		{"three columns without a header", "0,40,1\n1,41,1\n", "columns", "name it"},
		{"a short row", "0,40\n1\n", "line 2", "row too short"},
		{"a sign for no reading", "0,40\n1,65535\n", "line 2", "no reading"},
		{"JSON", "[{\"time\":0,\"temp\":40},\n\n{\"time\":1,\"temp\":\"hot\"}]", "object 2", "no number"},
		{"empty", "", "log", "times and temperatures"},
		{"one reading", "0,40\n", "log", "at least 2 readings"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			l, err := inspection.ReadLog(strings.NewReader(tt.text))
			var invalid *chemistry.InvalidError
			require.ErrorAs(t, err, &invalid)
			assert.Equal(t, tt.field, invalid.Field)
			assert.Contains(t, invalid.Reason, tt.reason)
			assert.Empty(t, l)
		})
	}
}

// What no single row shows to be wrong is refused or noted all the same.
func TestLogInOtherUnitsOrWithAHole(t *testing.T) {
	t.Parallel()
	rows := func(step, scale, offset float64) string {
		var text strings.Builder
		for i := range 41 {
			text.WriteString(fmt.Sprintf("%g,%g\n", step*float64(i), (30+0.2*float64(i))*scale+offset))
		}
		return text.String()
	}
	for _, tt := range []struct{ name, text, says string }{
		{"milliseconds", rows(1000, 1, 0), "no reading for 1000 s after 0 s; at most 5 s may pass; are these times milliseconds?"},
		{"a hole over the window", "0,30\n1,31\n2,32\n60,40\n61,40\n62,40\n63,40\n", "no reading for 58 s after 2 s; at most 5 s may pass"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			l, err := inspection.ReadLog(strings.NewReader(tt.text))
			require.NoError(t, err)
			_, err = inspection.Analyse(l, 65)
			assert.EqualError(t, err, "class of the log: "+tt.says)
		})
	}
	l, err := inspection.ReadLog(strings.NewReader(rows(1, 1.8, 32)))
	require.NoError(t, err)
	assert.Contains(t, strings.Join(l.Notes, "\n"), "it starts at 86 °C, far above any room: is it in °F")
	l, err = inspection.ReadLog(strings.NewReader(rows(1, 1, 0)))
	require.NoError(t, err)
	assert.Empty(t, l.Notes)
}

func TestReadLogBounds(t *testing.T) {
	t.Parallel()
	var text bytes.Buffer
	for i := range inspection.MaxLogRows {
		fmt.Fprintf(&text, "%d.%02d,%d\n", i/100, i%100, 40+i%3)
	}
	l, err := inspection.ReadLog(bytes.NewReader(text.Bytes()))
	require.NoError(t, err)
	assert.Len(t, l.Seconds, inspection.MaxLogRows)
	_, err = inspection.Analyse(l, 65)
	require.NoError(t, err)
	text.WriteString("10001,40\n")
	_, err = inspection.ReadLog(&text)
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "1000001 readings", invalid.Value)
}

func FuzzReadLog(f *testing.F) {
	for _, text := range []string{"0,40\n1,41\n", "seconds;celsius\n0,5;40\n1;41", "a\tb\n", "\ufeff#\n0,1e400\n", "1e308,1\n-1e308,1\n"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := inspection.ReadLog(strings.NewReader(text))
		if err != nil {
			assert.Empty(t, l)
			return
		}
		assert.Len(t, l.Celsius, len(l.Seconds))
		assert.Zero(t, l.Seconds[0])
		assert.True(t, slices.IsSorted(l.Seconds))
		_, _ = inspection.Analyse(l, 65) // may refuse, may not panic
	})
}
