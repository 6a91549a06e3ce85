// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

func series(t require.TestingT, text string, columns *inspection.Columns) (inspection.Series, []float64, error) {
	var got []float64
	s, err := inspection.ReadSeries(strings.NewReader(text), columns, func(v inspection.Value) { got = append(got, v.Celsius) })
	return s, got, err
}

func TestReadSeries(t *testing.T) {
	t.Parallel()
	cpu, room := "node_hwmon_temp_celsius{chip=\"cpu die\"}", "other"
	tests := []struct {
		name, text, format string
		columns            inspection.Columns
		want               []float64
	}{
		{"CSV by header", "host,Date Time,CPU temp\na,2026-11-01 10:00:00,51\na,2026-11-01 10:01:00,52.5\n", "CSV",
			inspection.Columns{Time: "Date Time", Temperature: "CPU temp"}, []float64{51, 52.5}},
		{"semicolons and decimal commas", "time;celsius\n1764500000;51,5\n1764500060;52\n", "CSV", inspection.Columns{Time: "time", Temperature: "celsius"}, []float64{51.5, 52}},
		{"no header", "0,51\n1,52\n", "CSV", inspection.Columns{Time: "1", Temperature: "2"}, []float64{51, 52}},
		{"a zone and milliseconds", "time\ttemp\n2026-11-01T10:00:00+01:00\t51\n1793525000000\t52\n", "CSV", inspection.Columns{Time: "time", Temperature: "temp"}, []float64{51, 52}},
		{"units stated in the cell", "time,temp\n0,51 °C\n1,125.6F\n2,325.15K\n", "CSV", inspection.Columns{Time: "time", Temperature: "temp"}, []float64{51, 52, 52}},
		{"JSON lines", "{\"time\":\"2026-11-01T10:00:00Z\",\"temp_c\":51}\n{\"time\":\"2026-11-01T10:01:00Z\",\"temp_c\":52}", "JSON",
			inspection.Columns{Time: "time", Temperature: "temp_c"}, []float64{51, 52}},
		{"a JSON array", "[{\"ts\":1,\"timestamp\":1,\"die\":51},{\"timestamp\":2,\"die\":52}]", "JSON", inspection.Columns{Time: "timestamp", Temperature: "die"}, []float64{51, 52}},
		{"Prometheus text", "# HELP x\n" + cpu + " 51 1764500000000\n" + room + " 9 1764500000000\n" + cpu + " 52 1764500060000\n", "Prometheus text",
			inspection.Columns{Time: "timestamp", Temperature: cpu}, []float64{51, 52}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s, got, err := series(t, tt.text, nil)
			require.NoError(t, err)
			assert.Equal(t, tt.format, s.Format)
			assert.Equal(t, tt.columns, s.Columns)
			assert.InDeltaSlice(t, tt.want, got, 1e-9)
			assert.Equal(t, len(tt.want), s.Read)
		})
	}
	s, got, err := series(t, "time,room temp,die\n0,22,51\n60,n/a,52\n", nil)
	require.NoError(t, err)
	assert.Equal(t, inspection.Columns{Time: "time", Temperature: "die", Room: "room temp"}, s.Columns, "a room is not the die")
	assert.Equal(t, []float64{51, 52}, got)
	assert.Equal(t, map[string]int{inspection.SkipRoom: 1}, s.Skipped)
	s, _, err = series(t, "time,room temp,die\n0,22,51\n", &inspection.Columns{Room: inspection.NoRoom})
	require.NoError(t, err)
	assert.Empty(t, s.Columns.Room)
	_, _, err = series(t, "time,room temp,die\n0,22,51\n", &inspection.Columns{Room: "hall"})
	require.ErrorContains(t, err, "hall")
	_, got, err = series(t, "time,room temp,die\n0,22,51\n", &inspection.Columns{Time: "time", Temperature: "die"})
	require.NoError(t, err)
	assert.Equal(t, []float64{51}, got, "the columns that were confirmed")
}

// Each value that cannot be is skipped and counted by what is wrong with it.
func TestReadSeriesSkipsAndCounts(t *testing.T) {
	t.Parallel()
	s, got, err := series(t, "time,temp\n0,51\n60,65535\n120,n/a\n180,-300\n240,104.5\n300,400\n360\nsoon,51\n300,52\n60,53\n360,NaN\n420,-5K\n9000,54\n", nil)
	require.NoError(t, err)
	assert.Equal(t, []float64{51, 104.5, 52, 54}, got)
	assert.Equal(t, map[string]int{inspection.SkipError: 1, inspection.SkipNoNumber: 2, inspection.SkipKelvin: 2, inspection.SkipRange: 1,
		inspection.SkipShort: 1, inspection.SkipNoTime: 1, inspection.SkipBack: 1}, s.Skipped)
	assert.Equal(t, 1, s.Gaps)
	assert.Contains(t, s.SkippedWords(), "2 below absolute zero")

	var invalid *chemistry.InvalidError
	for field, text := range map[string]string{"log": "time,temp\n0,65535\n", "columns": "hour,load\n1,2\n"} {
		_, _, err = series(t, text, nil)
		require.ErrorAs(t, err, &invalid)
		assert.Equal(t, field, invalid.Field)
	}
	_, _, err = series(t, "", nil)
	require.ErrorAs(t, err, &invalid)
	_, _, err = series(t, "time,temp\n0,51\n"+strings.Repeat("x", 1<<20)+"\n1,52\n", nil)
	require.NoError(t, err)
	_, _, err = series(t, "{\"time\":1,\"temp\":50}\n{nonsense", nil)
	require.ErrorAs(t, err, &invalid)
}

// Ten logs that would lie: each gives what a technician would take from it, and
// says what it left out or turned into °C.
func TestLogsThatLie(t *testing.T) {
	t.Parallel()
	hours := func(n int, line func(i int) string) string {
		var b strings.Builder
		b.WriteString("time,temp\n")
		for i := range n {
			fmt.Fprintf(&b, "%d,%s\n", 1764500000+i*3600, line(i))
		}
		return b.String()
	}
	for _, tt := range []struct {
		name, text string
		want       []float64
		skipped    map[string]int
		converted  int
	}{
		{"°F, said by the column alone", "time,Die (°F)\n0,122\n1,131\n", []float64{50, 55}, nil, 2},
		{"°F by its last letter", "time,temp_f\n0,122\n", []float64{50}, nil, 1},
		{"a cell that says otherwise than its column", "time,temp degF\n0,122\n1,55C\n", []float64{50, 55}, nil, 1},
		{"kelvin in JSON", `[{"time":1,"temp_kelvin":323.15}]`, []float64{50}, nil, 1},
		{"°F in metrics", "box_temp_fahrenheit{chip=\"k\"} 122 1764500000000\n", []float64{50}, nil, 1},
		{"a name that only ends in that letter", "time,temp shelf\n0,50\n", []float64{50}, nil, 0},
		{"the same time twice", "time,temp\n0,50\n0,90\n1,51\n", []float64{50, 51}, map[string]int{inspection.SkipTwice: 1}, 0},
		{"a clock that jumps back and on again", "time,temp\n100,50\n40,51\n160,52\n", []float64{50, 52}, map[string]int{inspection.SkipBack: 1}, 0},
		{"an hour of zeros", "time,temp\n0,50\n60,0\n120,0.0\n180,51\n", []float64{50, 51}, map[string]int{inspection.SkipZero: 2}, 0},
		{"a chiller that does pass zero", "time,temp\n0,4\n60,0\n120,-3\n", []float64{4, 0, -3}, nil, 0},
	} {
		s, got, err := series(t, tt.text, nil)
		require.NoError(t, err, tt.name)
		assert.InDeltaSlice(t, tt.want, got, 1e-9, tt.name)
		if tt.skipped == nil {
			tt.skipped = map[string]int{}
		}
		assert.Equal(t, tt.skipped, s.Skipped, tt.name)
		assert.Equal(t, tt.converted, s.Converted, tt.name)
	}
	s, _, err := series(t, "time,room_f,temp\n0,71.6,50\n", nil)
	require.NoError(t, err)
	assert.Empty(t, s.Skipped, "a room in °F is one")
	s, got, err := series(t, hours(200, func(int) string { return "50.5" }), nil)
	require.NoError(t, err)
	assert.Len(t, got, 100, "a sensor that is stuck")
	assert.Equal(t, map[string]int{inspection.SkipStuck: 100}, s.Skipped)
	s, got, err = series(t, hours(200, func(i int) string { return fmt.Sprint(50 + i/90) }), nil)
	require.NoError(t, err)
	assert.Len(t, got, 200, "a coarse one that moves")
	assert.Empty(t, s.Skipped)
	_, _, err = series(t, "time,temp\n50,1764500000\n51,1764500060\n", nil)
	require.ErrorContains(t, err, inspection.SkipRange, "columns that are swapped")
	s, _, err = series(t, "time,temp\n0,50\n60,51\n4000000,52\n4000060,53\n", nil)
	require.NoError(t, err)
	assert.Equal(t, 1, s.Gaps, "a clock that jumps on")
}

// No text makes it panic, and what it hands on lies in the range.
func TestReadSeriesNeverPanics(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`(time,temp\n)?([0-9a-z{}\[\]",;: .\-FK]{0,20}\n){0,8}`).Draw(t, "text")
		s, got, err := series(t, text, nil)
		if err == nil {
			assert.Len(t, got, s.Read)
		}
		for _, c := range got {
			assert.True(t, c >= -60 && c <= 150)
		}
	})
}

// A million lines are to take at most a second. Beside it, what it costs to read
// the same bytes: by lines alone, and by cells with encoding/csv.
func BenchmarkReadSeries(b *testing.B) {
	var log bytes.Buffer
	log.WriteString("time,host,temp\n")
	for i := range 1_000_000 {
		fmt.Fprintf(&log, "%s,box,%d.%d\n", time.Unix(1764500000+int64(i)*60, 0).UTC().Format(time.DateTime), 40+i%30, i%10)
	}
	read := map[string]func(io.Reader) (int, error){
		"series": func(in io.Reader) (int, error) {
			s, err := inspection.ReadSeries(in, nil, func(inspection.Value) {})
			return s.Read, err
		},
		"lines": func(in io.Reader) (n int, err error) {
			lines := bufio.NewScanner(in)
			for n = -1; lines.Scan(); n++ { // the header is none
			}
			return n, lines.Err()
		},
		"csv": func(in io.Reader) (int, error) {
			cells := csv.NewReader(in)
			cells.ReuseRecord = true
			for n := -1; ; n++ {
				if _, err := cells.Read(); err == io.EOF {
					return n, nil
				} else if err != nil {
					return n, err
				}
			}
		},
	}
	for _, name := range []string{"series", "lines", "csv"} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				n, err := read[name](bytes.NewReader(log.Bytes()))
				require.NoError(b, err)
				require.Equal(b, 1_000_000, n)
			}
		})
	}
}
