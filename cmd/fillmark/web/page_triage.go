// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"maps"
	"net/http"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/loops/inspection/triage"
)

// triagePage takes what is felt and seen as eight drawn taps and answers with
// ranked causes and the next step. It is a GET: nothing is recorded, and it can
// be kept as an address.
type triagePage struct {
	frame
	Form   *form
	Builds []choice
	// Taps are drawn; Clock stands by the figures, and Trials are what the steps
	// asked for showed.
	Taps   []tap
	Clock  triage.Question
	Trials []triage.Question
	Answer *triage.Answer // nil before anything was asked
}

// tap is one thing to feel or see, with its drawing's name. It is one list: what
// it shows besides its own sign stands in it as "sign:value".
type tap struct {
	Drawing string
	triage.Question
	more []choice
}

// triageTaps are the eight taps in the order of the page, and triageTrials what
// comes after.
func triageTaps() (taps []tap, trials []triage.Question) {
	of := func(drawing string, sign triage.Sign, more ...choice) tap {
		q, _ := triage.QuestionOf(sign)
		return tap{drawing, q, more}
	}
	taps = []tap{
		of("pump", triage.SignPump), of("tubes", triage.SignTubes), of("radiator", triage.SignRadiator),
		of("fins", triage.SignFins, choice{Value: "intake:blocked", Label: "air blocked"}, choice{Value: "intake:warm", Label: "draws warm air"}),
		of("fan", triage.SignFan, choice{Value: "fan-direction:in", Label: "wrong way"}, choice{Value: "fan-direction:against", Label: "against each other"}),
		of("level", triage.SignLevel, choice{Value: "pump:noisy", Label: "gurgles"}), of("screws", triage.SignScrews), of("paste", triage.SignPaste),
	}
	for _, q := range triage.Questions() {
		if q.Sign != triage.SignClock && !slices.ContainsFunc(taps, func(t tap) bool { return t.Sign == q.Sign }) {
			trials = append(trials, q)
		}
	}
	return taps, trials
}

// Ask is the list of a sign's values to choose from, and of what else its tap
// shows.
func (p triagePage) Ask(q triage.Question, more ...choice) field {
	words := strings.NewReplacer("-", " ")
	all := []choice{{Label: "not known"}}
	for _, v := range q.Values {
		all = append(all, choice{Value: string(v), Label: words.Replace(string(v))})
	}
	return p.Form.Choose(string(q.Sign), words.Replace(string(q.Sign)), "", append(all, more...))
}

// AskTap is the list of a tap.
func (p triagePage) AskTap(t tap) field { return p.Ask(t.Question, t.more...) }

// Percent is a probability in whole per cent.
func (p triagePage) Percent(probability float64) int { return int(100*probability + .5) }

// Shown are the causes worth a line.
func (p triagePage) Shown() []triage.Likely {
	n := 0
	for n < len(p.Answer.Causes) && (n < 2 || p.Answer.Causes[n].Probability >= .05) {
		n++
	}
	return p.Answer.Causes[:n]
}

func (s *server) pageTriage(w http.ResponseWriter, r *http.Request) error {
	f := newForm(r.URL.Query())
	p := triagePage{frame: s.newFrame(r, "Triage"), Form: f, Builds: []choice{{Value: "sealed", Label: "sealed unit"}, {Value: "open", Label: "built loop, open"}}}
	p.Taps, p.Trials = triageTaps()
	p.Clock, _ = triage.QuestionOf(triage.SignClock)
	if f.text("ask")+f.text("tag") == "" {
		return s.render(w, http.StatusOK, "triage", p)
	}
	seen, err := s.seenInForm(f)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if f.OK() {
		answer, err := triage.Judge(seen)
		if err := f.take(err, map[string]string{"coolant in": "in", "coolant out": "out"}); err != nil {
			return err
		}
		if f.OK() {
			p.Answer = &answer
		}
	}
	if !f.OK() {
		status = http.StatusUnprocessableEntity
	}
	return s.render(w, status, "triage", p)
}

// seenInForm is what the form says, over the last readings of the loop whose
// tag it names.
func (s *server) seenInForm(f *form) (triage.Seen, error) {
	seen := triage.Seen{}
	if typed := f.text("tag"); typed != "" {
		tag, err := loops.ParseTag(typed)
		if err := f.take(err, nil); err != nil || !f.OK() {
			return seen, err
		}
		file, err := s.Workshop.File(tag)
		if err != nil {
			return seen, err
		}
		seen = file.Seen()
	}
	if build := f.text("build"); build != "" {
		seen.Sealed = build == "sealed"
	}
	temperature := func(name string, to **chemistry.Celsius) {
		if v, ok := f.figure(name); ok {
			*to = new(chemistry.Celsius(v))
		}
	}
	temperature("die", &seen.Die)
	temperature("room", &seen.Room)
	temperature("in", &seen.CoolantIn)
	temperature("out", &seen.CoolantOut)
	if v, ok := f.figure("power"); ok {
		seen.Power = new(inspection.Watt(v))
	}
	if seen.Signs = maps.Clone(seen.Signs); seen.Signs == nil {
		seen.Signs = map[triage.Sign]triage.Value{}
	}
	for _, q := range triage.Questions() {
		v := f.text(string(q.Sign))
		if sign, other, ok := strings.Cut(v, ":"); ok { // of a tap that shows another sign too
			seen.Signs[triage.Sign(sign)] = triage.Value(other)
		} else if v != "" {
			seen.Signs[q.Sign] = triage.Value(v)
		}
	}
	return seen, nil
}

// figure is a number that may be left empty; another text marks the field.
func (f *form) figure(name string) (float64, bool) {
	text := f.text(name)
	if text == "" {
		return 0, false
	}
	v, err := chemistry.ParseNumber(text)
	if err != nil {
		f.blame(name, "a number, such as 22, or empty")
	}
	return v, err == nil
}
