// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/drawing"
	"fillmark/loops"
)

// refillPage leads from the closed loop to its hand-over: the wet work in
// numbered steps, each closed with a tick, and the forms that record figures
// beside the steps that yield them.
type refillPage struct {
	frame
	Form     *form // of the mix
	Acts     actForms
	Tag      loops.Tag
	Machine  string
	Owner    loops.Owner
	Sealed   bool
	Built    string
	Charge   string
	Warnings []string
	Phases   []refillPhase
	Bill     loops.Bill
	Cautions []chemistry.Caution
	Mix      *mixAnswer // nil before the mix was asked for
	// Query is what the mix was asked with; it stays on the page's address.
	Query      string
	Fluids     []choice
	Inhibitors []choice
	Biocides   []choice
	Containers []choice
	// Before are the readings before the work; empty where none were taken.
	Before string
	// QR leads from the printed sheet back to this page.
	QR *drawing.QR
	// AsOf is when it was made, Beforehand the top-ups that were judged then; nil
	// where there is nothing to top up.
	AsOf       string
	Beforehand *topUpsBeforehand
}

// refillPhase is one part of the work.
type refillPhase struct {
	ID    string
	Name  string
	Steps []refillStep
	Open  int
	Now   bool // its steps are the next ones
	// Holds names the form that belongs to it, or leads elsewhere; empty for none.
	Holds  string
	Record []refillRecord // what such forms put on record in this visit
}

// refillRecord is an entry of this visit, which can be taken back.
type refillRecord struct {
	Entry loops.EntryID
	Words string
}

// refillStep is one numbered step.
type refillStep struct {
	loops.StepState
	Number int
	Figure string // the field of its figure
	Look   string // the field of what was found
	Says   string // what is on record where it is done
}

// sheetAct is the form of an act in its phase of the work.
type sheetAct struct {
	Form             *actForm
	Enter, Query, At string // what its button says, what the mix was asked with, where it leads back to
}

// ActsIn are the forms of a phase that are drawn alike.
func (p refillPage) ActsIn(phase refillPhase) ([]sheetAct, error) {
	var all []sheetAct
	for _, a := range map[string][][3]string{
		"drain": {{"drain", "Enter the drain"}}, "clean": {{"clean", "Enter the cleaning"}, {"flush", "Enter the flush"}},
		"leak": {{"leakcheck", "Enter the leak check"}}, "proof": {{"proof", "Enter the proof", "back"}},
	}[phase.Holds] {
		f, err := p.Acts.Of(a[0])
		if err != nil {
			return nil, err
		}
		all = append(all, sheetAct{f, a[1], p.Query, cmp.Or(a[2], phase.ID)})
	}
	return all, nil
}

func (s *server) pageRefill(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileAtShelf(r)
	if err != nil {
		return err
	}
	p, err := s.refillPage(r, file, newForm(r.URL.Query()), nil)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "refill", p)
}

func (s *server) refillPage(r *http.Request, file workshop.File, f *form, sent *actForm) (refillPage, error) {
	sheet, loop := file.BenchSheet(), file.Loop
	p := refillPage{
		frame: s.newFrame(r, "Job sheet "+string(loop.Tag)), Form: f, Tag: loop.Tag, Machine: file.Machine.Name, Owner: file.Owner,
		Sealed: loop.Sealed, Built: loops.Capital(buildLine(loop.Construction)), Charge: loops.Capital(chargeLine(loop.State)), Warnings: sheet.Warnings, Cautions: sheet.Cautions,
		Fluids: fluidChoices("choose"), Inhibitors: choicesOf("not known", chemistry.Inhibitors()), Biocides: choicesOf("not known", chemistry.Biocides()),
		Acts: s.actForms(file, refillForm, sent),
	}
	p.Here, p.AsOf = "loops", s.asOf()
	if until := loops.OwnWarranty(file.History); !until.Before(loops.DayOf(s.Now(), s.Workshop.Settings().Zone)) {
		p.Warnings = append(p.Warnings, "Our own warranty on the last work runs until "+until.Long()+": what it covers is not charged.")
	}
	p.Scripts = append(p.Scripts, s.pages.assets.address("idb-keyval.js"), s.pages.assets.address("kept.js"))
	var err error
	if p.QR, err = s.benchQR("/loops/" + string(loop.Tag) + "/refill"); err != nil {
		return p, err
	}
	if p.Containers, err = s.containerChoices(file); err != nil {
		return p, err
	}
	if p.Beforehand, err = s.topUpsBeforehand(file); err != nil {
		return p, err
	}
	visit := stayOf(file.History)
	p.Phases, p.Bill = refillPhases(sheet.Steps, visit), loops.BillOf(visit)
	if before := readingsBefore(visit); before != nil {
		p.Before = readings(before)
	}
	offerMix(f, file, visit)
	if f.typed.Has("mix") {
		bottle, err := s.bottle(f)
		if err != nil {
			return p, err
		}
		p.Mix = mixFor(f, loop, lastCharge(file), bottle)
		p.Query = mixQuery(f)
	}
	p.Acts.offers["fill"] = url.Values{"day": {loops.DayOf(s.Now(), s.Workshop.Settings().Zone).String()}}
	if p.Mix != nil {
		maps.Copy(p.Acts.offers["fill"], fillOffers(f, *p.Mix))
	}
	p.Acts.offers["handover"] = consentOffers(file.Owner.Consent)
	offerFigures(p.Acts.offers, visit)
	return p, nil
}

// bottle is the container that a mix is asked for from; nil where none is
// chosen or what was chosen is marked as wrong.
func (s *server) bottle(f *form) (*loops.Container, error) {
	text := f.text("bottle")
	if text == "" {
		return nil, nil
	}
	id, err := loops.ParseContainer(text)
	if err == nil {
		var c loops.Container
		if c, err = s.Workshop.Container(id); err == nil {
			return &c, nil
		}
	}
	if _, typo := errors.AsType[*loops.InvalidError](err); typo || errors.Is(err, loops.ErrNotFound) {
		f.blame("bottle", "one of the list")
		return nil, nil
	}
	return nil, err
}

// steps are an act for every step that is ticked, with its figure. The form's
// key is the first one's.
func (f *actForm) steps() ([]acts.Act, error) {
	var all []acts.Act
	for i, id := range f.typed["sheet-step"] {
		said := acts.Said{"sheet-step": {id}}
		for name, text := range map[string]string{"value": withUnit(f.text("value:"+id), ""), "found": f.text("found:" + id), "left-out": f.text("left-out"), "note": f.text("note"), "day": f.text("day")} {
			if text != "" {
				said[name] = []string{text}
			}
		}
		if i == 0 {
			said["key"] = []string{f.Key}
		}
		a, err := f.read(said)
		if err != nil {
			return nil, err
		}
		f.markSteps(id)
		all = append(all, a)
	}
	if len(all) == 0 {
		f.Rest = append(f.Rest, Problem{Field: "steps", Right: "a tick at what is done"})
	}
	return all, nil
}

// markSteps puts what is wrong with a step's figure, or with what was found, at
// the step's own input: of several, where nothing was chosen.
func (f *actForm) markSteps(ids ...string) {
	for _, name := range []string{"value", "found"} {
		right := f.problems[name]
		delete(f.problems, name)
		for _, id := range ids {
			if input := name + ":" + id; right != "" && (len(ids) == 1 || f.typed.Has(input) && f.text(input) == "") {
				f.blame(input, right)
			}
		}
		if right != "" && f.OK() {
			f.Rest = append(f.Rest, Problem{Field: name, Right: right})
		}
	}
}

// Wrong lists the fields that are marked, as the page links to them; the figures
// of steps are each its own.
func (f *actForm) Wrong() []field {
	all := f.fieldForm.Wrong()
	for _, name := range slices.Sorted(maps.Keys(f.problems)) {
		if kind, id, ok := strings.Cut(name, ":"); ok && f.Kind == loops.KindStep {
			x := f.field(name, map[string]string{"value": "The figure of ", "found": "What was found by "}[kind]+strings.ReplaceAll(id, "-", " "), "")
			all = append(all, x)
		}
	}
	return all
}

// stayOf is what was recorded since the machine last came in or went out.
func stayOf(history []loops.Entry) []loops.Entry {
	standing := loops.Standing(history)
	for i := len(standing) - 1; i >= 0; i-- {
		if standing[i].Kind == loops.KindIntake || wentBack(standing[i]) {
			return standing[i+1:]
		}
	}
	return standing
}

// readingsBefore are the comparable readings taken in a visit before the loop
// was drained, filled or swapped; nil where there are none.
func readingsBefore(visit []loops.Entry) *loops.Inspection {
	var found *loops.Inspection
	for _, e := range visit {
		switch e.Kind {
		case loops.KindInspection:
			if e.Inspection.Comparable() {
				found = e.Inspection
			}
		case loops.KindDrain, loops.KindFill, loops.KindSwap:
			return found
		}
	}
	return found
}

// refillPhases groups the steps by phase and adds the forms and what they put
// on record.
func refillPhases(steps []loops.StepState, visit []loops.Entry) []refillPhase {
	holds := map[loops.StepPhase]string{
		loops.PhaseDrain: "drain", loops.PhaseJudge: "judge", loops.PhaseClean: "clean", loops.PhaseRefill: "fill", loops.PhaseLeakCheck: "leak", loops.PhaseProve: "proof",
	}
	records := map[loops.StepPhase][]loops.EntryKind{
		loops.PhaseDrain: {loops.KindDrain}, loops.PhaseJudge: {loops.KindOpening}, loops.PhaseClean: {loops.KindClean, loops.KindFlush}, loops.PhaseRefill: {loops.KindFill, loops.KindDose},
		loops.PhaseLeakCheck: {loops.KindLeakCheck}, loops.PhaseProve: {loops.KindProof},
	}
	var phases []refillPhase
	number, found := 0, false
	for i, name := range loops.StepPhases() {
		phase := refillPhase{ID: "phase" + string(rune('1'+i)), Name: loops.Capital(string(name)), Holds: holds[name]}
		for _, step := range steps {
			if step.Phase != name {
				continue
			}
			number++
			phase.Steps = append(phase.Steps, refillStepOf(step, number))
			if step.Open() {
				phase.Open++
			}
		}
		for _, e := range visit {
			for _, kind := range records[name] {
				if e.Kind == kind {
					phase.Record = append(phase.Record, refillRecord{e.ID, e.Day.Long() + ": " + EntryWords(e)})
				}
			}
		}
		if phase.Open > 0 && !found {
			phase.Now, found = true, true
		}
		phases = append(phases, phase)
	}
	return phases
}

func refillStepOf(step loops.StepState, number int) refillStep {
	x := refillStep{StepState: step, Number: number, Figure: "value:" + string(step.ID), Look: "found:" + string(step.ID)}
	if step.Open() {
		return x
	}
	x.Says = step.Done.Long() + ", " + step.By
	if step.LeftOut {
		x.Says = "left out " + x.Says
	}
	if step.Found != "" {
		x.Says += ": " + step.Found
	}
	if step.Value != nil {
		x.Says += ", " + figure(*step.Value, step.Unit)
	}
	if step.Note != "" {
		x.Says += ": " + step.Note
	}
	return x
}

// containerChoices lists the containers a fill can come from.
func (s *server) containerChoices(file workshop.File) ([]choice, error) {
	all, err := s.liquidChoices(&file)
	if err != nil {
		return nil, err
	}
	containers := []choice{{Label: "not from the shelf"}}
	for _, c := range all {
		if number, ok := cutContainer(c.Value); ok {
			containers = append(containers, choice{Value: number, Label: c.Label})
		}
	}
	return containers, nil
}

// mixQuery is the part of a form that asks for a mix, as a page's address
// carries it.
func mixQuery(f *form) string {
	query := url.Values{}
	for _, name := range mixNames() {
		if text := f.text(name); text != "" {
			query.Set(name, text)
		}
	}
	return query.Encode()
}
