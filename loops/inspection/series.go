// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Columns are the names of a log's time and temperature: those of a CSV
// header or "1", "2" … where there is none, keys of JSON, or a metric. Room is
// that of the air about the machine; empty where the log has none, and in
// metrics.
type Columns struct {
	Time        string `json:"time"`
	Temperature string `json:"temperature"`
	Room        string `json:"room,omitempty"`
}

// Value is one line of a log.
type Value struct {
	At      time.Time
	Celsius float64
	Room    float64 // °C; NaN where the line says none
}

// Series says what was read of a long temperature log, and what was not.
type Series struct {
	Format  string  `json:"format"` // "CSV", "JSON" or "Prometheus text"
	Columns Columns `json:"columns"`
	Read    int     `json:"read"`
	// Skipped counts what was left out, by reason.
	Skipped map[string]int `json:"skipped"`
	// Converted counts cells in °F or K, as they or their column say, that were
	// turned into °C.
	Converted int       `json:"converted,omitempty"`
	Gaps      int       `json:"gaps"` // longer than ten usual steps
	First     time.Time `json:"first"`
	Last      time.Time `json:"last"`
	step      float64   // s, usual so far

	unit, roomUnit byte // of the columns: 'C', 'F' or 'K'; 0 before they are known
	last           float64
	since          time.Time // of the first of the values that are the same as the last
	same           int       // how many these are

	at      int    // the line or JSON object that is read, from 1
	line    []byte // its text; of a JSON object time and temperature
	leftOut error  // the first value that was skipped, other than for a time twice
}

// skip counts what is left out, and why.
func (s *Series) skip(why string) {
	s.Skipped[why]++
	if s.leftOut == nil && why != SkipTwice {
		place := "line"
		if s.Format == "JSON" {
			place = "object"
		}
		s.leftOut = invalid(fmt.Sprintf("%s %d", place, s.at), string(s.line[:min(len(s.line), 60)]), "a later time and a temperature in °C ("+why+")")
	}
}

// Reasons that a value is skipped for.
const (
	SkipNoNumber = "no number"
	SkipNoTime   = "no time"
	SkipShort    = "row too short"
	SkipLong     = "line longer than 64 KiB"
	SkipError    = "65535, 32767 or 4095: an instrument's sign for no reading"
	SkipKelvin   = "below absolute zero"
	SkipRange    = "outside -60 to 150 °C; in °F or kelvin?"
	SkipBack     = "time goes back; a clock that was reset"
	SkipTwice    = "time that was there already; the first counts"
	SkipZero     = "0 beside readings far from it, an instrument's sign for no reading"
	SkipStuck    = "no change for a day; a sensor that is stuck"
	SkipRoom     = "room not readable; the temperature still counts"
)

// longestLine is how much of a log is held at once, in bytes.
const longestLine = 64 << 10

// ReadSeries reads a temperature log of any length and hands on each value in
// °C with its instant, and the room where a column has it: CSV with a time and a temperature column, JSON (an array
// or one object a line), or Prometheus text. The columns are guessed where they
// are nil, and named in the answer so that they can be confirmed. It holds one
// line, never the log.
//
// Values that cannot be are skipped and counted by reason; a log without any
// value that can be read, or whose columns cannot be found, is an
// [*chemistry.InvalidError].
func ReadSeries(in io.Reader, columns *Columns, each func(Value)) (Series, error) {
	s := Series{Skipped: map[string]int{}}
	r := bufio.NewReaderSize(in, longestLine)
	start, err := r.Peek(512)
	if err != nil && err != io.EOF && err != bufio.ErrBufferFull {
		return s, err
	}
	start = bytes.TrimLeft(bytes.TrimPrefix(start, []byte("\ufeff")), " \r\n\t")
	if columns != nil {
		s.Columns = *columns
	}
	switch {
	case len(start) > 0 && (start[0] == '{' || start[0] == '['):
		s.Format = "JSON"
		err = s.readJSON(r, each)
	case looksLikeMetrics(start):
		s.Format = "Prometheus text"
		err = s.readLines(r, s.metric(each))
	default:
		s.Format = "CSV"
		err = s.readLines(r, s.row(each))
	}
	if err == nil && s.Read == 0 {
		err = invalid("log", fmt.Sprintf("%d values, none to be read", s.all()), "times and temperatures in °C; skipped: "+s.SkippedWords())
	}
	return s, err
}

func (s *Series) all() int {
	n := s.Read
	for _, k := range s.Skipped {
		n += k
	}
	return n
}

// SkippedWords lists what was skipped: "3 no number; 1 below absolute zero".
func (s Series) SkippedWords() string {
	var parts []string
	for why, n := range s.Skipped {
		parts = append(parts, fmt.Sprintf("%d %s", n, why))
	}
	if len(parts) == 0 {
		return "nothing"
	}
	slices.Sort(parts)
	return strings.Join(parts, "; ")
}

// readLines hands on each line that is not empty; one too long is skipped.
func (s *Series) readLines(r *bufio.Reader, each func(line []byte) error) error {
	for {
		line, err := r.ReadSlice('\n')
		s.at++
		if err == bufio.ErrBufferFull {
			s.line = line
			s.skip(SkipLong)
			for err == bufio.ErrBufferFull {
				_, err = r.ReadSlice('\n')
			}
			continue
		}
		if trimmed := bytes.TrimSpace(bytes.TrimPrefix(line, []byte("\ufeff"))); len(trimmed) > 0 {
			s.line = trimmed
			if err := each(trimmed); err != nil {
				return err
			}
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// row reads the rows of a CSV.
func (s *Series) row(each func(Value)) func([]byte) error {
	var separator byte
	timeAt, temperatureAt, roomAt := -1, -1, -1
	return func(line []byte) error {
		if line[0] == '#' {
			return nil
		}
		if timeAt < 0 {
			separator = separatorOf(line)
			header := strings.Split(string(line), string(separator))
			for i := range header {
				header[i] = strings.Trim(strings.TrimSpace(header[i]), `"`)
			}
			_, isTime := instant([]byte(header[0]))
			named := !isTime
			if !named {
				for i := range header {
					header[i] = strconv.Itoa(i + 1)
				}
			}
			var err error
			if timeAt, temperatureAt, roomAt, err = s.find(header, named); err != nil || named {
				return err
			}
		}
		t, ok := cell(line, separator, timeAt)
		c, there := cell(line, separator, temperatureAt)
		if !ok || !there {
			s.skip(SkipShort)
			return nil
		}
		var room []byte
		if roomAt >= 0 {
			room, _ = cell(line, separator, roomAt)
		}
		s.take(t, c, room, each)
		return nil
	}
}

// separatorOf guesses what parts the columns of a CSV.
func separatorOf(line []byte) byte {
	for _, c := range []byte("\t;") {
		if bytes.IndexByte(line, c) >= 0 {
			return c
		}
	}
	return ','
}

// find finds the columns by the names given, or guesses them.
func (s *Series) find(header []string, named bool) (timeAt, temperatureAt, roomAt int, err error) {
	about := func(h string, parts ...string) bool {
		return slices.ContainsFunc(parts, func(p string) bool { return strings.Contains(strings.ToLower(h), p) })
	}
	is := func(h string, names ...string) bool { return slices.Contains(names, strings.ToLower(h)) }
	ofRoom := func(h string) bool { return about(h, "room", "ambient", "inlet air", "outside") }
	at := func(name string, fits func(string) bool) int {
		if name != "" {
			return slices.Index(header, name)
		}
		return slices.IndexFunc(header, fits)
	}
	timeAt = at(s.Columns.Time, func(h string) bool {
		return about(h, "time", "date", "stamp", "epoch", "seconds", "elapsed") || is(h, "s", "sec", "second", "t")
	})
	temperatureAt = at(s.Columns.Temperature, func(h string) bool {
		return (about(h, "temp", "celsius", "°c", "degc", "die", "cpu") || is(h, "c")) && !ofRoom(h)
	})
	roomAt = at(s.Columns.Room, ofRoom)
	if !named && s.Columns.Time == "" && s.Columns.Temperature == "" && len(header) == 2 {
		timeAt, temperatureAt = 0, 1
	}
	columns := strings.Join(header, ", ")
	switch {
	case timeAt < 0:
		return -1, -1, -1, invalid("columns", columns, "one with the time; name it")
	case temperatureAt < 0:
		return -1, -1, -1, invalid("columns", columns, "one with the temperature; name it")
	case roomAt < 0 && s.Columns.Room != "" && s.Columns.Room != NoRoom:
		return -1, -1, -1, invalid("columns", columns, s.Columns.Room+" is none of them; name the room's, or say "+NoRoom)
	}
	s.Columns = Columns{Time: header[timeAt], Temperature: header[temperatureAt]}
	s.unit = unitNamed(s.Columns.Temperature)
	if roomAt >= 0 && roomAt != temperatureAt {
		s.Columns.Room = header[roomAt]
		s.roomUnit = unitNamed(s.Columns.Room)
		return timeAt, temperatureAt, roomAt, nil
	}
	return timeAt, temperatureAt, -1, nil
}

// unitNamed is the unit that the name of a column ends in: "temp_f", "Die
// (°F)", "room_kelvin"; °C where it says none.
func unitNamed(name string) byte {
	name, _, _ = strings.Cut(strings.ToLower(name), "{") // labels of a metric
	name = strings.TrimRight(name, ")] ")
	for _, u := range [...]struct {
		letter byte
		whole  string
	}{{'F', "fahrenheit"}, {'K', "kelvin"}} {
		rest, ends := strings.CutSuffix(name, strings.ToLower(string(u.letter)))
		alone := ends && rest != "" && (strings.HasSuffix(rest, "°") || strings.HasSuffix(rest, "deg") || strings.ContainsRune("_ ([/.,", rune(rest[len(rest)-1])))
		if alone || strings.Contains(name, u.whole) {
			return u.letter
		}
	}
	return 'C'
}

// NoRoom named as the room's column takes none for it.
const NoRoom = "none"

// cell returns one cell of a row.
func cell(line []byte, separator byte, at int) ([]byte, bool) {
	for ; at > 0; at-- {
		i := bytes.IndexByte(line, separator)
		if i < 0 {
			return nil, false
		}
		line = line[i+1:]
	}
	if i := bytes.IndexByte(line, separator); i >= 0 {
		line = line[:i]
	}
	return bytes.Trim(bytes.TrimSpace(line), `"`), true
}

// looksLikeMetrics tells Prometheus text by its comments or its first sample:
// a name, perhaps labels, and a number.
func looksLikeMetrics(start []byte) bool {
	if bytes.HasPrefix(start, []byte("# HELP")) || bytes.HasPrefix(start, []byte("# TYPE")) {
		return true
	}
	line, _, _ := bytes.Cut(start, []byte("\n"))
	return bytes.IndexByte(line, '{') > 0 && bytes.IndexByte(line, '}') > 0 && !bytes.ContainsAny(line[:bytes.IndexByte(line, '{')], ",; \t")
}

// metric reads samples with their instants in ms; the first that names a
// temperature counts, or the one given.
func (s *Series) metric(each func(Value)) func([]byte) error {
	return func(line []byte) error {
		if line[0] == '#' {
			return nil
		}
		// A label may hold a blank; the value comes after its bracket.
		end := bytes.LastIndexByte(line, '}') + 1
		if end == 0 {
			end = max(bytes.IndexByte(line, ' '), 0)
		}
		name, rest := string(line[:end]), bytes.Fields(line[end:])
		if s.Columns.Temperature == "" && strings.Contains(strings.ToLower(name), "temp") {
			s.Columns.Temperature = name
		}
		if name != s.Columns.Temperature {
			return nil
		}
		if s.unit == 0 {
			s.Columns.Time, s.Columns.Room, s.unit = "timestamp", "", unitNamed(name)
		}
		if len(rest) < 2 {
			s.skip(SkipNoTime)
			return nil
		}
		s.take(rest[1], rest[0], nil, each)
		return nil
	}
}

// readJSON reads objects, in an array or one after another.
func (s *Series) readJSON(r *bufio.Reader, each func(Value)) error {
	d := json.NewDecoder(r)
	if start, _ := r.Peek(512); bytes.HasPrefix(bytes.TrimLeft(start, " \r\n\t"), []byte("[")) {
		if _, err := d.Token(); err != nil {
			return invalid("log", err.Error(), "JSON")
		}
	}
	for d.More() {
		s.at++
		var object map[string]json.RawMessage // what is not asked for stays as it is
		if err := d.Decode(&object); err != nil {
			return invalid("log", fmt.Sprintf("after %d values: %v", s.all(), err), "JSON objects with a time and a temperature")
		}
		if s.Columns.Time == "" || s.Columns.Temperature == "" {
			var keys []string
			for k := range object {
				keys = append(keys, k)
			}
			slices.Sort(keys)
			if _, _, _, err := s.find(keys, true); err != nil {
				return err
			}
		}
		if s.unit == 0 {
			s.unit, s.roomUnit = unitNamed(s.Columns.Temperature), unitNamed(s.Columns.Room)
		}
		s.line = slices.Concat(object[s.Columns.Time], []byte(" "), object[s.Columns.Temperature])
		s.take(bytes.Trim(object[s.Columns.Time], `"`), bytes.Trim(object[s.Columns.Temperature], `"`), bytes.Trim(object[s.Columns.Room], `"`), each)
	}
	return nil
}

// take judges one value and hands it on.
func (s *Series) take(t, c, room []byte, each func(Value)) {
	at, ok := instant(t)
	if !ok {
		s.skip(SkipNoTime)
		return
	}
	v, converted, why := celsius(c, s.unit)
	if why == "" && s.Read > 0 {
		why = s.unlikely(at, v)
	}
	switch {
	case why != "":
		s.skip(why)
		return
	case s.Read > 0 && at.Before(s.Last):
		s.skip(SkipBack)
		// From here the log counts on from the reset, if it goes on so.
		if s.Skipped[SkipBack]%leastReset == 0 {
			s.Last = at
		}
		return
	}
	if converted {
		s.Converted++
	}
	if s.Read == 0 {
		s.First = at
	} else if step := at.Sub(s.Last).Seconds(); s.step > 0 && step > 10*s.step {
		s.Gaps++
	} else if step > 0 {
		s.step += (step - s.step) / float64(min(s.Read, 50))
	}
	if s.Read == 0 || v != s.last {
		s.since, s.same = at, 0
	}
	s.same++
	s.Read, s.Last, s.last = s.Read+1, at, v
	each(Value{at, v, s.room(room)})
}

// What no sensor shows of a machine at work (judgement): exactly 0 °C next to a
// value as far from it as zeroFar K; and, where values come each hour or more
// often, so many over so long without any change.
const (
	zeroFar   = 15
	stuckFor  = 24 * time.Hour
	stuckLeft = 100
	oftenStep = 3600 // s
)

// unlikely says why a value that can be read is none, beside those before it.
func (s *Series) unlikely(at time.Time, v float64) string {
	switch {
	case at.Equal(s.Last):
		return SkipTwice
	case v == 0 && math.Abs(s.last) > zeroFar:
		return SkipZero
	case v == s.last && s.same >= stuckLeft && s.step <= oftenStep && at.Sub(s.since) > stuckFor:
		return SkipStuck
	}
	return ""
}

// room reads the air about the machine, -20 to 60 °C; NaN where there is none.
func (s *Series) room(text []byte) float64 {
	if s.Columns.Room == "" {
		return math.NaN()
	}
	v, _, why := celsius(text, s.roomUnit)
	if why != "" || v < -20 || v > 60 {
		s.skip(SkipRoom)
		return math.NaN()
	}
	return v
}

// leastReset is how many values behind the last one make a new clock.
const leastReset = 100

// celsius reads a temperature in °C, or says why not. The unit is its column's;
// a cell that states its own goes by that.
func celsius(text []byte, unit byte) (v float64, converted bool, why string) {
	for len(text) > 0 && (text[len(text)-1] > '9') {
		if last := text[len(text)-1]; last == 'F' || last == 'K' || last == 'C' || last == 'f' || last == 'c' {
			unit = last &^ 0x20
		}
		text = bytes.TrimSpace(text[:len(text)-1])
	}
	v, ok := decimal(text)
	switch {
	case !ok:
		return 0, false, SkipNoNumber
	case v == 65535 || v == 32767 || v == 4095:
		return 0, false, SkipError
	}
	switch unit {
	case 'F':
		v, converted = (v-32)/1.8, true
	case 'K':
		v, converted = v-273.15, true
	}
	switch {
	case v < -273.15:
		return 0, false, SkipKelvin
	case v < -60 || v > 150:
		return 0, false, SkipRange
	}
	return v, converted, ""
}

// decimal reads a number, with a point or a comma.
func decimal(text []byte) (float64, bool) {
	v, err := strconv.ParseFloat(strings.Replace(string(text), ",", ".", 1), 64)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// instant reads a time: seconds or milliseconds since 1970, or a date and time
// as loggers write it, UTC where no zone is given. Small numbers are seconds
// from the log's start.
func instant(text []byte) (time.Time, bool) {
	if bytes.IndexByte(text, ':') >= 0 {
		return statedInstant(text)
	}
	if v, ok := decimal(text); ok {
		if v > 1e11 {
			v /= 1000
		}
		if v < 0 || v > 1e11 {
			return time.Time{}, false
		}
		whole, part := math.Modf(v)
		return time.Unix(int64(whole), int64(part*1e9)).UTC(), true
	}
	return time.Time{}, false
}

// statedInstant reads the ways that loggers write a date and a time.
func statedInstant(text []byte) (time.Time, bool) {
	for _, layout := range [...]string{time.DateTime, time.RFC3339, "2006-01-02T15:04:05", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04", "02.01.2006 15:04:05", "02.01.2006 15:04"} {
		if len(text) < len("2006-01-02 15:04") || text[4] == '-' != (layout[4] == '-') {
			continue
		}
		if at, err := time.Parse(layout, string(text)); err == nil {
			return at.UTC(), true
		}
	}
	return time.Time{}, false
}
