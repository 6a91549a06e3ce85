// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/notify/links"
)

// logPage takes a temperature log, of an owner's machine or of a loop on the
// bench: what was read of it is shown with its columns, and kept once somebody
// has said that they are the right ones.
type logPage struct {
	frame
	Form *form
	Back string // the page that led here
	Name string // of the machine
	// Owners tells that an owner reads it; Unit is theirs.
	Owners bool
	Unit   string
	About  []choice // where an owner has several machines
	Read   *logRead // nil before a log was read
	// Curl is the line by which a machine sends its log itself; empty where it
	// cannot reach these pages.
	Curl string
}

// logRead is what was read of a log.
type logRead struct {
	inspection.Series
	Log loops.TemperatureLog
	// Keep is the same, as the form that confirms it sends it back.
	Keep string
}

// From is its first day.
func (l logRead) From() loops.Day { return loops.DayOf(l.Series.First, time.UTC) }

// To is its last day.
func (l logRead) To() loops.Day { return loops.DayOf(l.Series.Last, time.UTC) }

// leftOut are the sentences for why a value is skipped.
var leftOut = map[string]string{
	inspection.SkipNoNumber: "log.skip.no-number", inspection.SkipNoTime: "log.skip.no-time", inspection.SkipShort: "log.skip.short",
	inspection.SkipError: "log.skip.error", inspection.SkipKelvin: "log.skip.kelvin", inspection.SkipRange: "log.skip.range",
	inspection.SkipBack: "log.skip.back", inspection.SkipTwice: "log.skip.twice", inspection.SkipZero: "log.skip.zero",
	inspection.SkipStuck: "log.skip.stuck", inspection.SkipRoom: "log.skip.room", inspection.SkipLong: "log.skip.long",
}

// LeftOut lists what was skipped: "3 no number; 1 below absolute zero".
func (p logPage) LeftOut() string {
	var parts []string
	for why, n := range p.Read.Skipped {
		parts = append(parts, fmt.Sprintf("%d %s", n, p.Say(leftOut[why])))
	}
	if len(parts) == 0 {
		return p.Say("log.nothing")
	}
	slices.Sort(parts)
	return strings.Join(parts, "; ")
}

// readLog reads a log of a room and a power; nil columns are guessed.
func readLog(in io.Reader, columns *inspection.Columns, room chemistry.Celsius, watts *float64, now time.Time) (*logRead, error) {
	weeks, series, err := inspection.ReadWeeks(in, columns, now)
	if err != nil {
		return nil, err
	}
	read := &logRead{Series: series, Log: loops.LogOf(weeks, series, room, watts)}
	keep, err := json.Marshal(read.Log)
	read.Keep = string(keep)
	return read, err
}

// take reads what was sent: the log itself, or that what was read of it is
// right; it returns the log to keep, nil before that.
func (p *logPage) take(f *form, file *uploaded, now time.Time) (*loops.TemperatureLog, error) {
	p.Form = f
	if keep := f.text("keep"); keep != "" {
		var log loops.TemperatureLog
		d := json.NewDecoder(bytes.NewReader([]byte(keep)))
		d.DisallowUnknownFields()
		if err := d.Decode(&log); err != nil {
			return nil, &loops.InvalidError{Field: "form", Value: "damaged", Reason: "the form as its page sends it"}
		}
		return &log, nil
	}
	room := read(f, "room", p.Unit, chemistry.ParseCelsius)
	var watts *float64
	if v, ok := f.figure("power"); ok {
		watts = &v
	}
	if file == nil {
		f.blame("log", "a file with times and temperatures")
	}
	if !f.OK() {
		return nil, nil
	}
	var columns *inspection.Columns
	if c := (inspection.Columns{Time: f.text("time"), Temperature: f.text("temperature"), Room: f.text("room-column")}); c != (inspection.Columns{}) {
		columns = &c
	}
	got, err := readLog(file.spool, columns, room, watts, now)
	if err := f.take(err, map[string]string{"log": "log", "columns": "temperature"}); err != nil || !f.OK() {
		return nil, err
	}
	p.Read = got
	f.typed.Set("time", got.Columns.Time)
	f.typed.Set("temperature", got.Columns.Temperature)
	f.typed.Set("room-column", got.Columns.Room)
	return nil, nil
}

// keepLog puts on record what a command read of a log.
func (s *server) keepLog(stamp workshop.Stamp, tag loops.Tag, log loops.TemperatureLog) (loops.TemperatureLog, error) {
	return log, s.Workshop.KeepLog(stamp, tag, log)
}

func (s *server) pageLog(w http.ResponseWriter, r *http.Request) error {
	return s.benchLog(w, r, newForm(nil), nil)
}

func (s *server) takeLog(w http.ResponseWriter, r *http.Request) error {
	f, file, err := postedWithFile(r)
	defer file.remove()
	if err != nil {
		return err
	}
	return s.benchLog(w, r, f, file)
}

func (s *server) benchLog(w http.ResponseWriter, r *http.Request, f *form, file *uploaded) error {
	whole, err := s.fileOf(r)
	if err != nil {
		return err
	}
	tag := whole.Loop.Tag
	p := logPage{frame: s.newFrame(r, "Temperature log "+string(tag)), Form: f, Back: "/loops/" + string(tag), Name: whole.Machine.Name, Unit: "C"}
	p.Here = "loops"
	if whole.Owner.ID != 0 {
		p.Curl = s.curlLine(whole.Owner, tag)
	}
	return s.answerLog(w, r, &p, file, s.stamp(r), func() (loops.Tag, error) { return tag, nil })
}

// answerLog answers with the page, or keeps the log and leads back.
func (s *server) answerLog(w http.ResponseWriter, r *http.Request, p *logPage, file *uploaded, stamp workshop.Stamp, tag func() (loops.Tag, error)) error {
	status := http.StatusOK
	if r.Method == http.MethodPost {
		log, err := p.take(p.Form, file, s.Now())
		if err == nil && log != nil {
			var about loops.Tag
			if about, err = tag(); err == nil {
				err = s.Workshop.KeepLog(stamp, about, *log)
			}
			if err == nil {
				s.Wake()
				http.Redirect(w, r, p.Back, http.StatusSeeOther)
				return nil
			}
		}
		if err := p.Form.take(err, nil); err != nil {
			return err
		}
		if !p.Form.OK() {
			status = http.StatusUnprocessableEntity
		}
	}
	return s.render(w, status, "log", p)
}

func (s *server) pageOwnerLog(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Owner)
	if err != nil {
		return err
	}
	return s.ownerLog(w, r, owner, newForm(nil), nil)
}

func (s *server) takeOwnerLog(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Owner)
	if err != nil {
		return err
	}
	takesItsTime(w, r)
	f, file, err := postedWithFile(r)
	defer file.remove()
	if err == nil && file != nil {
		err = s.takesFile(owner)
	}
	if err != nil {
		return err
	}
	return s.ownerLog(w, r, owner, f, file)
}

func (s *server) ownerLog(w http.ResponseWriter, r *http.Request, owner loops.Owner, f *form, file *uploaded) error {
	files, err := s.Workshop.OwnersFiles(owner.ID)
	if err != nil {
		return err
	}
	in := s.spokenTo(owner)
	p := logPage{frame: s.newFrame(r, in.Say("log.title")), Form: f, Back: "/o/" + r.PathValue("token"), Owners: true, Unit: unitOf(owner.Units)}
	p.spoken = in
	for _, f := range files {
		label := f.Machine.Name
		if f.Loop.Name != "" {
			label += " (" + f.Loop.Name + ")"
		}
		p.About = append(p.About, choice{Value: string(f.Loop.Tag), Label: label})
	}
	if len(p.About) == 1 {
		p.Name, p.Curl = p.About[0].Label, s.curlLine(owner, loops.Tag(p.About[0].Value))
	}
	return s.answerLog(w, r, &p, file, s.ownerStamp(), func() (loops.Tag, error) {
		about := f.text("about")
		if len(p.About) == 1 {
			about = p.About[0].Value
		}
		if !slices.ContainsFunc(p.About, func(c choice) bool { return c.Value == about }) {
			return "", &loops.InvalidError{Field: "about", Value: about, Reason: "one of your machines"}
		}
		return loops.Tag(about), nil
	})
}

// unitOf is the unit of an owner's temperatures.
func unitOf(u loops.Units) string {
	if u == loops.USCustomary {
		return "F"
	}
	return "C"
}

// curlLine is what a machine runs once a week to send its log.
func (s *server) curlLine(owner loops.Owner, tag loops.Tag) string {
	base := s.Workshop.Settings().BaseURL
	if base == "" {
		return ""
	}
	return fmt.Sprintf("curl --data-binary @temperatures.csv '%s%s?room=22'", base, s.Workshop.LogPath(owner, tag, s.Now()))
}

// sentLog takes the log that a machine sends by its own link and says in plain
// text what became of it.
func (s *server) sentLog(w http.ResponseWriter, r *http.Request) error {
	text, status := "", http.StatusOK
	if err := s.keepSentLog(w, r, &text); err != nil {
		var failure Failure
		status, failure = failureOf(err)
		if status >= http.StatusInternalServerError {
			return err
		}
		setRetryAfter(w, err)
		text = failure.Message
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = io.WriteString(w, text+"\n") // the machine has gone where this fails
	return nil
}

func (s *server) keepSentLog(w http.ResponseWriter, r *http.Request, text *string) error {
	owner, err := s.ownerLink(r, links.Log)
	if err != nil {
		return err
	}
	tag, err := tagOf(r)
	if err != nil {
		return links.ErrInvalid
	}
	f := newForm(r.URL.Query())
	room := read(f, "room", "C", chemistry.ParseCelsius)
	var watts *float64
	if v, ok := f.figure("power"); ok {
		watts = &v
	}
	for _, name := range []string{"room", "power"} {
		if right := f.Problem(name); right != "" {
			return &loops.InvalidError{Field: name, Value: f.text(name), Reason: right}
		}
	}
	var columns *inspection.Columns
	if c := (inspection.Columns{Time: f.text("time"), Temperature: f.text("temperature"), Room: f.text("room-column")}); c != (inspection.Columns{}) {
		columns = &c
	}
	if err := s.takesFile(owner); err != nil {
		return err
	}
	takesItsTime(w, r)
	got, err := readLog(r.Body, columns, room, watts, s.Now())
	if err != nil {
		return err
	}
	kept, err := s.Workshop.KeepSentLog(workshop.Stamp{At: s.Now().UTC(), By: workshop.ByLogLink}, owner, tag, got.Log)
	if err != nil {
		return err
	}
	*text = fmt.Sprintf("Read %d values of %q by %q as %s; skipped: %s.", got.Series.Read, got.Columns.Temperature, got.Columns.Time, got.Format, got.SkippedWords())
	if !kept {
		*text += " A log of this week is on record already; this one is not kept."
		return nil
	}
	s.Wake()
	*text += " Kept."
	return nil
}
