// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// intakePage takes a machine in: one form from the owner's name to the loop's
// own tag, or the complaint alone where the loop has one of our labels.
type intakePage struct {
	frame
	Form *form
	// Known is the loop that comes in again; nil for one that is new here.
	Known *topupLoop
	// AskCharge tells that the page asks what is in the loop: it is new here, or
	// nothing is on record of it.
	AskCharge bool
	// Same are owners on record under the name that was typed.
	Same      []choice
	Fields    builtFields
	MaxPhotos int
	Fluids    []choice
	Origins   []choice
	Inhibitor []choice
	Biocide   []choice
}

func (s *server) intakePage(r *http.Request, f *form) intakePage {
	p := intakePage{
		frame: s.newFrame(r, "Intake"), Form: f, Fields: fieldsFor(f), Fluids: fluidChoices("nothing yet"), MaxPhotos: maxFormPhotos,
		Origins: []choice{
			{Value: string(loops.WorkshopFill), Label: "this workshop"}, {Value: string(loops.Factory), Label: "the factory"},
			{Value: string(loops.UnknownOrigin), Label: "nobody knows"},
		},
		Inhibitor: choicesOf("not known", chemistry.Inhibitors()), Biocide: choicesOf("not known", chemistry.Biocides()),
	}
	p.Fluids = append(p.Fluids, choice{Value: unknownFluid, Label: "not known"})
	p.Here, p.AskCharge = "intake", true
	return p
}

func (s *server) pageIntake(w http.ResponseWriter, r *http.Request) error {
	f := newForm(r.URL.Query())
	f.offer("filled", loops.DayOf(s.Now(), s.Workshop.Settings().Zone).String())
	p := s.intakePage(r, f)
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
		f.offer("owner", owner.Name)
		p.Same = []choice{ownerChoice(owner)}
	}
	return s.render(w, http.StatusOK, "intake", p)
}

// ownerOf reads the owner with the number in a form or a path.
func (s *server) ownerOf(number string) (loops.Owner, error) {
	id, err := strconv.ParseUint(number, 10, 64)
	if err != nil {
		return loops.Owner{}, loops.ErrNotFound
	}
	return s.Reader.Owner(loops.OwnerID(id))
}

func ownerChoice(o loops.Owner) choice {
	number := strconv.FormatUint(uint64(o.ID), 10)
	parts := slices.DeleteFunc([]string{o.Name, "on record as number " + number, o.Email, o.Phone}, func(s string) bool { return s == "" })
	return choice{Value: number, Label: strings.Join(parts, ", ")}
}

// knownIntake finds the loop that comes in again.
func (s *server) knownIntake(p *intakePage) error {
	tag, err := loops.ParseTag(p.Form.text("tag"))
	if err != nil {
		return p.Form.take(err, map[string]string{"tag": "tag"})
	}
	file, err := s.Workshop.File(tag)
	if kindOf(err) == FailNotFound {
		p.Form.blame("tag", "a tag on record, or nothing for a loop that is new here")
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
	p := s.intakePage(r, f)
	var tag loops.Tag
	if f.text("tag") != "" {
		tag, err = s.takeInKnown(r, &p)
	} else {
		tag, err = s.takeInNew(r, &p)
	}
	if err := f.take(err, intakeFields()); err != nil {
		return err
	}
	if !f.OK() || tag == "" {
		return s.render(w, http.StatusUnprocessableEntity, "intake", p)
	}
	s.Wake()
	next := "/receipt" // the machine stays here
	if f.ticked("handover") {
		next = "/label"
	}
	http.Redirect(w, r, "/loops/"+string(tag)+next, http.StatusSeeOther)
	return nil
}

func (s *server) takeInKnown(r *http.Request, p *intakePage) (loops.Tag, error) {
	if err := s.knownIntake(p); err != nil || p.Known == nil {
		return "", err
	}
	entries := seenEntries(p.Form, true)
	if p.AskCharge {
		entries = arrivalEntries(p.Form, true)
	}
	if !p.Form.OK() {
		return "", nil
	}
	return p.Known.Tag, s.record(r, p.Known.Tag, entries...)
}

func (s *server) takeInNew(r *http.Request, p *intakePage) (loops.Tag, error) {
	f := p.Form
	owner, settled, err := s.intakeOwner(p)
	if err != nil {
		return "", err
	}
	if settled && owner.ID == 0 && f.text("machine_kind") != string(loops.DonorUnit) {
		if err := f.take(owner.Validate(), map[string]string{"name": "owner"}); err != nil {
			return "", err
		}
	}
	reg := workshop.Registration{Owner: owner, Machine: intakeMachine(f, loops.Machine{}), Loop: intakeLoop(f, loops.Loop{})}
	entries := arrivalEntries(f, false)
	filled := slices.ContainsFunc(entries, func(e loops.Entry) bool { return e.Kind == loops.KindFill })
	if f.ticked("handover") && !filled {
		f.blame("charge", "what is in it; an empty loop does not go back")
	}
	if !f.OK() || !settled {
		return "", nil
	}
	if f.ticked("handover") {
		entries = append(entries, loops.Entry{Kind: loops.KindHandover, Handover: &loops.Handover{Consent: reg.Owner.Consent}})
	}
	if reg.Acts, err = actsOf(entries); err != nil {
		return "", err
	}
	loop, err := s.Workshop.Register(s.stamp(r), reg)
	return loop.Tag, err
}

// intakeOwner reads who brought the machine. Where somebody of that name is on
// record the page asks whether it is the same person: settled is false.
func (s *server) intakeOwner(p *intakePage) (owner loops.Owner, settled bool, err error) {
	f := p.Form
	if f.text("machine_kind") == string(loops.DonorUnit) {
		return owner, true, nil
	}
	owner = loops.Owner{
		Name: f.text("owner"), Email: f.text("email"), Phone: f.text("phone"), Address: f.text("address"),
		Consent: loops.Consent{Mail: f.ticked("mail"), Opening: f.ticked("opening"), Photos: f.ticked("photos")},
	}
	switch same := f.text("owner_id"); same {
	case "new":
		return owner, true, nil
	case "":
	default:
		owner, err = s.ownerOf(same)
		return owner, true, err
	}
	words := strings.Fields(owner.Name)
	if len(words) == 0 {
		return owner, true, nil
	}
	found, err := s.Workshop.FindOwners(workshop.OwnerQuery{Text: words[0]})
	if err != nil {
		return owner, false, err
	}
	for _, o := range found {
		if sameName(o.Name, owner.Name) {
			p.Same = append(p.Same, ownerChoice(o))
		}
	}
	if len(p.Same) > 0 {
		f.blame("owner_id", "say whether it is the same person")
		return owner, false, nil
	}
	return owner, true, nil
}
