// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// builtFields is what the fields of a machine and of a loop are drawn from.
type builtFields struct {
	Form          *form
	Kinds, Metals []choice
	Reach         []choice
}

func fieldsFor(f *form) builtFields {
	return builtFields{
		f, choicesOf("", loops.MachineKinds()), choicesOf("not known", chemistry.Metals()),
		[]choice{{Label: "nobody asked"}, {Value: "true", Label: "yes"}, {Value: "false", Label: "no"}},
	}
}

// editPage puts right what an intake got wrong: the machine, and how its loop
// is built.
type editPage struct {
	frame
	Form    *form
	Fields  builtFields
	Tag     loops.Tag
	Machine string
}

func (s *server) pageEdit(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	f := newForm(nil)
	offerMachine(f, file.Machine)
	offerLoop(f, file.Loop)
	return s.render(w, http.StatusOK, "edit", s.editPage(r, file, f))
}

func (s *server) editPage(r *http.Request, file workshop.File, f *form) editPage {
	p := editPage{frame: s.newFrame(r, "Change "+string(file.Loop.Tag)), Form: f, Fields: fieldsFor(f), Tag: file.Loop.Tag, Machine: file.Machine.Name}
	p.Here = "loops"
	return p
}

// offerMachine puts into the form what is on record of a machine.
func offerMachine(f *form, m loops.Machine) {
	for name, text := range map[string]string{
		"machine_kind": string(m.Kind), "machine": m.Name, "maker": m.Maker, "model": m.Model, "accessories": strings.Join(m.Accessories, "\n"),
		"warranty_note": m.WarrantyNote, "promised": m.PromisedBack.String(), "machine_revision": strconv.FormatUint(m.Revision, 10),
	} {
		f.offer(name, text)
	}
	if m.WarrantyAsked {
		f.offer("warranty_asked", "yes")
	}
}

// offerLoop puts into the form how a loop is built.
func offerLoop(f *form, l loops.Loop) {
	for name, text := range map[string]string{
		"loop_name": l.Name, "build": map[bool]string{true: "sealed", false: "open"}[l.Sealed], "holds": quantityIn(l.Volume.Millilitres()),
		"tubing": l.Tubing.Material, "pump_place": l.PumpPlace, "mounting": l.Mounting, "loop_revision": strconv.FormatUint(l.Revision, 10),
	} {
		f.offer(name, text)
	}
	if l.VolumeUncertainty > 0 {
		f.offer("holds_plus", quantityIn(l.VolumeUncertainty.Millilitres()))
	}
	if l.Reach != nil {
		f.offer("reach", map[bool]string{true: "true", false: "false"}[*l.Reach])
	}
	if l.NoFrost {
		f.offer("no_frost", "yes")
	}
	for name, mm := range lengths(&l) {
		if *mm > 0 {
			f.offer(name, quantityIn(*mm))
		}
	}
	for name, c := range map[string]*chemistry.Celsius{"wall": l.ColdestWall, "hottest": l.Hottest, "set_point": l.SetPoint} {
		if c != nil {
			f.offer(name, quantityIn(float64(*c)))
		}
	}
	if l.EvaporatorMargin != nil {
		f.offer("evaporator_margin", quantityIn(float64(*l.EvaporatorMargin)))
	}
	for _, part := range formParts() {
		for _, is := range l.Wetted {
			if is.Part == part.name {
				f.offer(part.field, string(is.Metal))
				f.offer(part.field+"_plating", string(is.Plating))
			}
		}
	}
}

// edit writes the machine and the loop as the form says, both or nothing. The revisions in the form are those the technician read.
func (s *server) edit(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	machine, loop := intakeMachine(f, file.Machine), intakeLoop(f, file.Loop)
	machine.Revision, loop.Revision = uint64(read(f, "machine_revision", "", number)), uint64(read(f, "loop_revision", "", number))
	if f.OK() {
		err = s.Workshop.EditBuilt(s.stamp(r), machine, loop)
	}
	if err := f.take(err, intakeFields()); err != nil {
		return err
	}
	if f.OK() {
		s.Wake()
		http.Redirect(w, r, "/loops/"+string(file.Loop.Tag), http.StatusSeeOther)
		return nil
	}
	return s.render(w, http.StatusUnprocessableEntity, "edit", s.editPage(r, file, f))
}
