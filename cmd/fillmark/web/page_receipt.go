// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// receiptPage is what the owner takes home when a machine stays here.
type receiptPage struct {
	frame
	Tag      loops.Tag
	Loop     string
	Machine  loops.Machine
	Owner    loops.Owner
	Build    string
	Day      loops.Day // the machine came in
	Intake   loops.Intake
	Readings string // empty where none were taken
	Charge   string
	Empty    bool
	Ours     loops.Day // the last of our own warranty, as the machine came in; zero without one
	Bill     loops.Bill
}

func (s *server) pageReceipt(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	loop := file.Loop
	p := receiptPage{
		frame: s.newFrame(r, "Intake receipt "+string(loop.Tag)), Tag: loop.Tag, Loop: loop.Name, Machine: file.Machine, Owner: file.Owner,
		Build: buildLine(loop.Construction), Charge: chargeLine(loop.State), Empty: loop.State.Charge == nil,
		Day: loops.DayOf(s.Now(), s.Workshop.Settings().Zone),
	}
	p.Here = "intake"
	history := loops.Standing(file.ForOwner().View.Entries())
	for i, e := range history {
		if e.Kind == loops.KindIntake {
			if p.Ours = loops.OwnWarranty(history[:i]); p.Ours.Before(e.Day) {
				p.Ours = loops.Day{}
			}
		}
	}
	p.Bill = lastBill(history)
	for _, e := range history {
		switch {
		case e.Kind == loops.KindIntake:
			p.Day, p.Intake, p.Readings = e.Day, *e.Intake, ""
		case e.Kind == loops.KindInspection && e.Day == p.Day:
			p.Readings = readings(e.Inspection)
		}
	}
	return s.render(w, http.StatusOK, "receipt", p)
}

// fileOf reads the loop that the path names.
func (s *server) fileOf(r *http.Request) (workshop.File, error) {
	tag, err := tagOf(r)
	if err != nil {
		return workshop.File{}, err
	}
	return s.Workshop.File(tag)
}

// fileAtShelf is fileOf, and what is on the shelf.
func (s *server) fileAtShelf(r *http.Request) (workshop.File, error) {
	tag, err := tagOf(r)
	if err != nil {
		return workshop.File{}, err
	}
	return s.Workshop.FileAtShelf(tag)
}
