// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// intakePage takes a machine in with four things: who, what, what hurts, photos.
// All else stands folded below, for whoever knows more.
type intakePage struct {
	frame
	Form *form
	// Known is the loop that comes in again; nil for one that is new here.
	Known *topupLoop
	// AskCharge tells that the page asks what is in the loop: it is new here, or
	// nothing is on record of it.
	AskCharge bool
	// Found are who and what on record fits what was typed; Asked tells that they
	// were looked for.
	Found     []pick
	Asked     bool
	Kinds     []choice
	MaxPhotos int
	Owner     recordForm[loops.Owner]
	Machine   recordForm[loops.Machine]
	Loop      loopForm
	// Intake, Read and Fill are the acts that the form says beside owner,
	// machine and loop.
	Intake, Read, Fill *actForm
}

// pick is an owner, or a loop of theirs, to choose instead of typing.
type pick struct {
	Value  string // of the input "is"
	Label  string
	Loop   bool // it is a machine that was here before
	Chosen bool
}

// mostFound bounds what is offered to choose from; a longer name narrows it.
const mostFound = 12

func (s *server) intakePage(r *http.Request, f *form) (intakePage, error) {
	p := intakePage{frame: s.newFrame(r, "Intake"), Form: f, MaxPhotos: maxFormPhotos,
		Owner: formOfRecord(acts.Owners(), f), Machine: formOfRecord(acts.Machines(), f), Loop: newLoopForm(f)}
	p.Here, p.AskCharge, p.Kinds = "intake", true, choicesOf("", loops.MachineKinds())
	picked(f)
	for name, at := range map[string]**actForm{"intake": &p.Intake, "readings": &p.Read, "fill": &p.Fill} {
		*at = formOf(s.acts[name], f, name+".")
	}
	var err error
	if p.Intake.Key = f.text(p.Intake.Input("key")); p.Intake.Key == "" {
		p.Intake.Key, err = newKey(s.Random)
	}
	return p, err
}

// acts are those that the form says, in the order in which they happened. A
// workshop's fill comes after what was seen, any other was in it before. For a
// loop that is on record the intake is always one, since it begins a visit.
func (p *intakePage) acts() ([]acts.Act, error) {
	intake := p.Intake.said()
	if kept := p.Form.Kept(); len(kept) > 0 {
		intake["photo"] = kept
	}
	fill := p.Fill.said()
	if !p.AskCharge {
		fill = nil
	}
	order := []*actForm{p.Intake, p.Read, p.Fill}
	if len(fill["origin"]) > 0 && fill["origin"][0] != string(loops.WorkshopFill) {
		order = []*actForm{p.Fill, p.Intake, p.Read}
	}
	said := map[*actForm]acts.Said{p.Intake: intake, p.Read: p.Read.said(), p.Fill: fill}
	begins := p.Known != nil
	key := intake["key"]
	delete(intake, "key")
	var all []acts.Act
	for _, f := range order {
		if len(said[f]) == 0 && !(f == p.Intake && begins) {
			continue
		}
		if len(all) == 0 && key != nil {
			said[f]["key"] = key
		}
		a, err := f.read(said[f])
		if err != nil {
			return nil, err
		}
		all = append(all, a)
	}
	return all, nil
}

// take marks what an error says in the form that it is about.
func (p *intakePage) take(err error) error {
	if errors.Is(err, loops.ErrRepeated) {
		return p.Intake.take(err)
	}
	for _, f := range []*actForm{p.Intake, p.Read, p.Fill} {
		about := false
		if of, ok := errors.AsType[*workshop.ActError](err); ok {
			about = of.Kind == f.Kind
		} else if stop, ok := errors.AsType[*acts.StopError](err); ok {
			about = stop.Act == f.Name
		} else if p.Known != nil {
			for _, problem := range problemsOf(err) {
				_, has := f.Definition.Field(problem.Field)
				about = about || has
			}
		}
		if about {
			return f.take(err)
		}
	}
	return p.Form.take(err, map[string]string{"photo": "photo"})
}

func (s *server) pageIntake(w http.ResponseWriter, r *http.Request) error {
	f := newForm(r.URL.Query())
	p, err := s.intakePage(r, f)
	if err != nil {
		return err
	}
	if f.text("tag") != "" {
		if err := s.knownIntake(&p); err != nil {
			return err
		}
	}
	if id := f.text("owner_id"); id != "" {
		owner, err := s.ownerOf(id)
		if err != nil {
			return err
		}
		f.offer("who", owner.Line())
	}
	if err := s.find(&p); err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "intake", p)
}

// picked takes what was chosen of what is on record: an owner or a loop. What was
// found for other words than those that are sent now is chosen again.
func picked(f *form) {
	if f.text("is") != "" && f.typed.Has("found-for") && f.text("found-for") != f.text("who") {
		f.typed.Del("is")
		if !f.typed.Has("find") {
			f.blame("who", "choose below once more; what was chosen was found for "+f.text("found-for"))
		}
	}
	switch is := f.text("is"); {
	case is == "new":
		f.typed.Set("owner_id", "new")
	case strings.HasPrefix(is, "owner "):
		f.typed.Set("owner_id", strings.TrimPrefix(is, "owner "))
	case is != "":
		f.typed.Set("tag", is)
	}
}

// find lists who and what on record fits what was typed.
func (s *server) find(p *intakePage) error {
	who := p.Form.text("who")
	if p.Known != nil || who == "" {
		return nil
	}
	p.Asked = true
	found, err := s.Workshop.Matches(who, mostFound)
	for _, m := range found {
		x := pick{Value: fmt.Sprint("owner ", m.Owner.ID), Label: m.Owner.Line()}
		if m.Tag != "" {
			x = pick{Value: string(m.Tag), Label: string(m.Tag) + ", " + m.Machine.Name, Loop: true}
		}
		x.Chosen = x.Value == p.Form.text("is") || p.Form.text("owner_id") != "" && x.Value == "owner "+p.Form.text("owner_id")
		p.Found = append(p.Found, x)
	}
	return err
}

// ownerOf reads the owner with the number in a form or a path.
func (s *server) ownerOf(number string) (loops.Owner, error) {
	id, err := ownerID(number)
	if err != nil {
		return loops.Owner{}, err
	}
	return s.Reader.Owner(id)
}

// ownerID reads the number of an owner.
func ownerID(number string) (loops.OwnerID, error) {
	id, err := strconv.ParseUint(number, 10, 64)
	if err != nil {
		return 0, loops.ErrNotFound
	}
	return loops.OwnerID(id), nil
}

// knownIntake finds the loop that comes in again.
func (s *server) knownIntake(p *intakePage) error {
	tag, err := loops.ParseTag(p.Form.text("tag"))
	if err != nil {
		return p.Form.take(err, map[string]string{"tag": "who"})
	}
	file, err := s.Workshop.File(tag)
	if kindOf(err) == FailNotFound {
		p.Form.blame("who", "a tag on record, or a name; no loop has the tag "+string(tag))
		return nil
	}
	if err != nil {
		return err
	}
	p.AskCharge = file.Loop.State.Charge == nil
	p.Known = &topupLoop{Tag: tag, Machine: file.Machine.Name, Owner: file.Owner.Name, Charge: chargeLine(file.Loop.State)}
	return nil
}

// takeIn records what the form says.
func (s *server) takeIn(w http.ResponseWriter, r *http.Request) error {
	f, err := s.postedWithPhotos(r)
	if err != nil {
		return err
	}
	p, err := s.intakePage(r, f)
	if err != nil {
		return err
	}
	if f.typed.Has("find") { // the search without a script: nothing is recorded
		if err := s.find(&p); err != nil {
			return err
		}
		return s.render(w, http.StatusOK, "intake", p)
	}
	tag, err := s.enterIntake(r, &p)
	if err = p.take(err); err != nil {
		return err
	}
	if p.wrong() || tag == "" {
		if len(p.Intake.Rest) > 0 && p.Intake.status == http.StatusConflict { // once more is another machine
			if p.Intake.Key, err = newKey(s.Random); err != nil {
				return err
			}
		}
		if err := s.find(&p); err != nil {
			return err
		}
		return s.render(w, cmp.Or(p.Intake.status, http.StatusUnprocessableEntity), "intake", p)
	}
	s.Wake()
	http.Redirect(w, r, "/loops/"+string(tag)+"/receipt", http.StatusSeeOther) // the machine stays here
	return nil
}

// wrong tells that something is, or that the gate stopped one of the acts.
func (p *intakePage) wrong() bool { return p.Intake.Any() || p.Read.Stop != nil || p.Fill.Stop != nil }

func (s *server) enterIntake(r *http.Request, p *intakePage) (loops.Tag, error) {
	if p.Form.text("tag") == "" {
		return s.takeInNew(r, p)
	}
	if err := s.knownIntake(p); err != nil || p.Known == nil {
		return "", err
	}
	all, err := p.acts()
	if err != nil || p.wrong() {
		return "", err
	}
	_, err = s.Workshop.Act(s.stamp(r), p.Known.Tag, all...)
	return p.Known.Tag, err
}

func (s *server) takeInNew(r *http.Request, p *intakePage) (loops.Tag, error) {
	reg := workshop.Registration{Key: p.Intake.Key}
	if err := s.intakeOwner(p, &reg.Owner); err != nil {
		return "", err
	}
	called := func(m loops.Machine) string { return cmp.Or(m.Name, m.Model, string(m.Kind)) }
	machine := func(m loops.Machine) error {
		if m.Name = called(m); m.Kind != loops.DonorUnit {
			m.Owner = 1 // who gets a number with the machine
		}
		return m.Validate()
	}
	err := errors.Join(p.Machine.read(&reg.Machine, machine), p.Loop.read(&reg.Loop))
	if err != nil {
		return "", err
	}
	reg.Machine.Name = called(reg.Machine)
	if reg.Acts, err = p.acts(); err != nil || p.wrong() {
		return "", err
	}
	first, err := s.Workshop.Registered(reg)
	if err != nil || first.ID != 0 {
		return first.Tag, err // sent before: the owner of that name is this one
	}
	if settled, err := s.sameOwner(p, reg.Owner); err != nil || !settled {
		return "", err
	}
	loop, err := s.Workshop.Register(s.stamp(r), reg)
	return loop.Tag, err
}

// intakeOwner reads who brought the machine; nobody brought a donor unit.
func (s *server) intakeOwner(p *intakePage, owner *loops.Owner) (err error) {
	if p.Form.text(p.Machine.Input("kind")) == string(loops.DonorUnit) {
		return nil
	}
	if same := p.Form.text("owner_id"); same != "" && same != "new" {
		*owner, err = s.ownerOf(same)
		return err
	}
	is := loops.ReadOwner(p.Form.text("who"))
	err = p.Owner.read(&is, loops.Owner.Validate)
	for _, field := range []string{"name", "phone", "email"} { // said in one line, wrong in one line
		if right := p.Form.problems[p.Owner.Input(field)]; right != "" {
			delete(p.Form.problems, p.Owner.Input(field))
			p.Form.blame("who", field+": "+right)
		}
	}
	*owner = is
	return err
}

// sameOwner asks, where somebody of that name is on record, whether it is the
// same person; settled is false until the page was told.
func (s *server) sameOwner(p *intakePage, owner loops.Owner) (settled bool, err error) {
	if owner.ID != 0 || p.Form.text("owner_id") == "new" {
		return true, nil
	}
	same, err := s.Workshop.OwnersNamed(owner.Name)
	if len(same) > 0 {
		p.Form.blame("who", "say below whether it is the same person")
	}
	return len(same) == 0, err
}

// Wrong lists what is marked, as the page links to it.
func (p intakePage) Wrong() []field {
	var all []field
	if right := p.Form.Problem("who"); right != "" {
		all = append(all, field{ID: "who", Label: "Who", Problem: right})
	}
	for _, f := range []fieldForm{p.Owner.fieldForm, p.Machine.fieldForm, p.Loop.fieldForm, p.Intake.fieldForm, p.Read.fieldForm, p.Fill.fieldForm} {
		all = append(all, f.Wrong()...)
	}
	if right := p.Form.Problem("photo"); right != "" {
		all = append(all, field{ID: "photo", Label: "Photos", Problem: right})
	}
	return all
}
