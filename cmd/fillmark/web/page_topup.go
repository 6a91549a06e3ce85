// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// topupPage asks four questions and answers with a verdict. The check is a
// GET: it changes nothing and can be kept as an address.
type topupPage struct {
	frame
	Form     *form
	Rows     []liquidRow
	Liquids  []choice
	file     *workshop.File // of the loop, where it is on record
	Fluids   []choice
	Readings []choice
	// Loop is the loop asked about where it is on record.
	Loop   *topupLoop
	Answer *topupAnswer // nil before anything was asked
	// Carry are the answers to the questions, sent along when it is entered.
	Carry []field
	// Entry is the form in which it is entered, Pours its inputs for what is at
	// hand.
	Entry *actForm
	Pours []field
}

// topupLoop is the card of the loop asked about, in two lines.
type topupLoop struct {
	Tag     loops.Tag
	Machine string
	Owner   string
	Charge  string
	Level   string
}

func topupLoopOf(file workshop.File) *topupLoop {
	l := topupLoop{Tag: file.Loop.Tag, Machine: file.Machine.Name, Owner: file.Owner.Name, Charge: chargeLine(file.Loop.State)}
	if lacks := file.Loop.State.Missing; lacks > 0 {
		l.Level = quantity(lacks) + " below the mark"
	}
	return &l
}

// topupAnswer is the verdict as the page says it.
type topupAnswer struct {
	workshop.TopUpAnswer
	// Says is the verdict in one sentence.
	Says string
	// Reading is what to know of the reading that the answer rests on.
	Reading []string
}

// readingKinds are the ways to say how strong the liquid is.
func readingKinds() []choice {
	return []choice{
		{Label: "as on record"}, {Value: "brix", Label: "°Brix"}, {Value: "index", Label: "refractive index"},
		{Value: "density", Label: "density, kg/l"}, {Value: "freeze", Label: "freeze-point scale, °C"}, {Value: "mass", Label: "strength, mass %"},
	}
}

func fluidChoices(none string) []choice {
	all := []choice{{Label: none}}
	for _, f := range chemistry.Fluids() {
		all = append(all, choice{Value: string(f), Label: f.Name()})
	}
	return all
}

func (s *server) topupPage(r *http.Request, f *form) (topupPage, error) {
	p := topupPage{
		frame: s.newFrame(r, "Top-up check"), Form: f, Rows: rowsOfLiquids(),
		Fluids: fluidChoices("as on record"), Readings: readingKinds(),
	}
	p.Here = "topup"
	var err error
	p.Entry, err = s.entryOfTopUp(f)
	return p, err
}

// renderTopUp shows the page with what is at hand.
func (s *server) renderTopUp(w http.ResponseWriter, status int, p topupPage) (err error) {
	if p.Liquids, err = s.liquidChoices(p.file); err != nil {
		return err
	}
	return s.render(w, status, "topup", p)
}

func (s *server) pageTopUp(w http.ResponseWriter, r *http.Request) error {
	f := newForm(r.URL.Query())
	p, err := s.topupPage(r, f)
	if err != nil {
		return err
	}
	if f.typed.Has("draft") || f.text("tag")+f.text("room")+f.text("fluid") == "" {
		return s.renderTopUp(w, http.StatusOK, p)
	}
	if err := s.checkTopUp(&p, ""); err != nil {
		return err
	}
	status := http.StatusOK
	if !f.OK() {
		status = http.StatusUnprocessableEntity
	}
	return s.renderTopUp(w, status, p)
}

// checkTopUp answers the questions in the form of the page, or marks what is
// wrong with them; key is that of what was sent, empty for a question alone.
func (s *server) checkTopUp(p *topupPage, key string) error {
	f := p.Form
	question, file, hand, reading, err := s.topUpQuestion(f, key)
	if err != nil {
		return err
	}
	if p.file = file; file != nil {
		p.Loop = topupLoopOf(*file)
		if file.Loop.State.Missing > 0 {
			f.offer("room", quantityIn(file.Loop.State.Missing.Millilitres()))
		}
	}
	if !f.OK() || f.text("room") == "" {
		if f.OK() && f.typed.Has("ask") {
			f.blame("room", "what is missing up to the mark, such as 60")
		}
		return nil
	}
	var answer workshop.TopUpAnswer
	if file != nil {
		answer, err = file.CheckTopUp(question)
	} else {
		answer, err = question.Check()
	}
	if err != nil {
		return f.take(err, topUpFields())
	}
	p.Answer = &topupAnswer{TopUpAnswer: answer, Says: topUpSays(answer)}
	if reading != nil {
		p.Answer.Reading = reading.Warnings
	}
	for _, name := range topUpNames() {
		p.Carry = append(p.Carry, field{Name: name, Value: f.typed.Get(name)})
	}
	for _, h := range hand {
		name := p.Entry.Input("poured:" + h.Poured)
		for _, step := range answer.Steps {
			if step.Do == "add" && step.What == h.Name && !p.Entry.Sent { // what was poured is typed, never worked out
				f.offer(name, quantityIn(step.VolumeML))
			}
		}
		p.Pours = append(p.Pours, f.Number(name, "Poured of "+h.Name+", ml", ""))
	}
	for _, step := range answer.Steps {
		if step.Do == "drain" {
			f.offer(p.Entry.Input("drained"), quantityIn(step.VolumeML))
		}
	}
	return nil
}

// topUpFields maps what a check calls a figure to the field it comes from.
func topUpFields() map[string]string {
	return map[string]string{
		"room": "room", "holds": "holds", "tag": "tag", "fluid": "fluid", "protect": "wall", "mass": "reading",
		"strength": "reading", "at": "at", "hottest": "hottest", "with": "liquid1",
	}
}

// Wrong lists what is marked, as the page links to it.
func (p topupPage) Wrong() []field {
	var all []field
	for _, x := range []field{
		{ID: "tag", Label: "Tag on the label"}, {ID: "fluid", Label: "Fluid"}, {ID: "holds", Label: "In the loop now, ml"}, {ID: "kind", Label: "Read as"},
		{ID: "reading", Label: "Reading"}, {ID: "sample", Label: "Sample, °C"}, {ID: "room", Label: "Missing up to the mark, ml"},
		{ID: "liquid1", Label: "Liquid 1"}, {ID: "strength1", Label: "mass %"}, {ID: "amount1", Label: "Have, ml"},
		{ID: "wall", Label: "Coldest wall, °C"}, {ID: "hottest", Label: "Hottest coolant, °C"},
	} {
		if x.Problem = p.Form.Problem(x.ID); x.Problem != "" {
			x.Value = p.Form.Typed(x.ID)
			all = append(all, x)
		}
	}
	return append(all, p.Entry.Wrong()...)
}

// topUpNames are the fields that make up the question.
func topUpNames() []string {
	names := []string{"tag", "fluid", "kind", "reading", "sample", "holds", "sealed", "room", "wall", "hottest"}
	for _, row := range rowsOfLiquids() {
		names = append(names, row.Liquid, row.Strength, row.Amount)
	}
	return names
}

// topUpSays is the verdict in one sentence.
func topUpSays(a workshop.TopUpAnswer) string {
	switch {
	case a.Verdict == chemistry.Stop:
		return "Add nothing yet. The reasons say what to do instead."
	case len(a.Steps) == 0:
		return "None of these liquids should go in; if it must be filled, use a premix of about its own strength."
	case a.Verdict == chemistry.Care:
		return "You can, but read the reasons first."
	}
	return "Add it as the steps say."
}

// topUpQuestion reads the form. The file is nil where the loop is not on
// record and was described instead, the reading where no instrument was read. The
// loop is asked about as it was before the form with the key was recorded.
func (s *server) topUpQuestion(f *form, key string) (q workshop.TopUpQuestion, file *workshop.File, hand []handLiquid, reading *chemistry.Reading, err error) {
	q.Fluid = chemistry.Fluid(f.text("fluid"))
	if q.Tag = f.text("tag"); q.Tag != "" {
		if file, err = s.knownLoop(f, q.Tag, key); err != nil {
			return q, nil, nil, nil, err
		}
		if file != nil {
			q.Tag = string(file.Loop.Tag)
			if q.Fluid == "" {
				q.Fluid = file.Loop.State.Charge.Fluid
			}
		}
	} else if q.Fluid == "" {
		f.blame("tag", "the six symbols on the label, or describe the loop")
	}
	if q.Fluid != "" && !q.Fluid.Valid() {
		f.blame("fluid", "one of the list")
	}
	q.Room = mayRead(f, "room", "ml", chemistry.ParseLitre)
	q.Holds = mayRead(f, "holds", "ml", chemistry.ParseLitre)
	if file == nil && q.Holds == nil && q.Tag == "" {
		f.blame("holds", "how much is in the loop now, such as 520")
	}
	q.Protect = mayRead(f, "wall", "C", chemistry.ParseCelsius)
	q.Hottest = mayRead(f, "hottest", "C", chemistry.ParseCelsius)
	q.Sealed = f.ticked("sealed")
	var bottle *chemistry.Product
	if file != nil {
		if bottle, err = file.Bottle(); err != nil {
			return q, nil, nil, nil, err
		}
	}
	if reading = readStrength(f, &q, inhibited(file), bottle); reading != nil {
		q.Mass, q.MassUncertainty = &reading.Mass, reading.MassUncertainty
	}
	hand, err = s.liquidsAtHand(f, file)
	for _, h := range hand {
		q.Hand = append(q.Hand, h.Hand)
	}
	return q, file, hand, reading, err
}

// knownLoop finds the loop that a tag names; nil where the field is marked.
func (s *server) knownLoop(f *form, typed, key string) (*workshop.File, error) {
	tag, err := loops.ParseTag(typed)
	if err != nil {
		return nil, f.take(err, map[string]string{"tag": "tag"})
	}
	file, err := s.Workshop.FileBefore(tag, key)
	if kind := kindOf(err); kind == FailNotFound {
		f.blame("tag", "a tag on record; no loop has this one")
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if file.Loop.State.Charge == nil {
		f.blame("tag", "a loop with a charge; this one is empty: refill it")
		return nil, nil
	}
	return &file, nil
}

// kindOf is the kind of failure an error is; empty for none.
func kindOf(err error) FailureKind {
	if err == nil {
		return ""
	}
	_, failure := failureOf(err)
	return failure.Kind
}

// inhibited reports whether the loop on record holds a formulated product,
// whose additives an instrument reads as glycol.
func inhibited(file *workshop.File) bool {
	if file == nil {
		return false
	}
	return len(file.Loop.State.Charge.Having(loops.RoleInhibitor)) > 0
}

// readStrength reads what an instrument just showed of the liquid in the
// loop; nil where none was read. A strength that is known goes into the
// question as it is. What came from a bottle is read by its label, as far as
// that goes.
func readStrength(f *form, q *workshop.TopUpQuestion, inhibited bool, bottle *chemistry.Product) *chemistry.Reading {
	kind := f.text("kind")
	if kind == "" || q.Fluid == "" { // no scale reads a fluid nobody knows: the verdict says so
		return nil
	}
	request := chemistry.ReadingRequest{Fluid: q.Fluid, Sample: 20, Inhibited: inhibited}
	if sample := mayRead(f, "sample", "C", chemistry.ParseCelsius); sample != nil {
		request.Sample = *sample
	}
	switch kind {
	case "brix":
		request.Brix = new(read(f, "reading", "brix", chemistry.ParseBrix))
	case "index":
		request.Index = new(read(f, "reading", "", chemistry.ParseRefractiveIndex))
	case "density":
		request.Density = new(read(f, "reading", "kg/l", chemistry.ParseDensity))
	case "freeze":
		request.Freeze = new(read(f, "reading", "C", chemistry.ParseCelsius))
	case "mass":
		q.Mass = new(read(f, "reading", "%", chemistry.ParseMassPercent))
		return nil
	default:
		f.blame("kind", "one of the list")
	}
	if !f.OK() {
		return nil
	}
	if bottle != nil {
		byLabel := request
		byLabel.Product = bottle
		if reading, err := chemistry.Read(byLabel); err == nil {
			return &reading
		}
	}
	reading, err := chemistry.Read(request)
	if err != nil {
		right := strings.TrimSpace(err.Error())
		if problems := problemsOf(err); len(problems) > 0 {
			right = problems[0].Right
		}
		f.blame("reading", right)
		return nil
	}
	return &reading
}
