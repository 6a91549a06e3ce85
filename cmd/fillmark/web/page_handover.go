// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"slices"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// handoverPage is the sheet that goes back with a machine.
type handoverPage struct {
	frame
	Tag     loops.Tag
	Loop    string
	Owner   loops.Owner
	Day     loops.Day
	Back    bool // the hand-over is on record
	Done    []historyLine
	Before  string
	After   string
	Charge  string
	Freezes string // empty where it is not known
	Machine ownerMachine
	Next    []loops.Task
	Wet     []string
	// Cautions are in owners' words.
	Cautions []string
}

func (s *server) pageHandover(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	settings := s.Workshop.Settings()
	today := s.Workshop.DayOf(file.Owner, s.Now())
	p := handoverPage{
		frame: s.newFrame(r, "Hand-over "+string(file.Loop.Tag)), Tag: file.Loop.Tag, Loop: file.Loop.Name, Owner: file.Owner, Day: today,
		Charge: chargeLine(file.Loop.State.Charge), Next: workshop.NextTasks(file.Loop.Plan),
	}
	p.Here = "loops"
	visit, back := lastVisit(file.History)
	if !back.IsZero() {
		p.Day, p.Back = back, true
	}
	for _, e := range visit {
		if e.Kind == loops.KindProof {
			p.Before = notify.InOwnersUnits(readings(&e.Proof.Before), file.Owner.Units)
			p.After = notify.InOwnersUnits(readings(&e.Proof.After), file.Owner.Units)
			continue
		}
		if e.Kind != loops.KindStep {
			p.Done = append(p.Done, historyLine{ID: e.ID, Day: e.Day, Kind: e.Kind, Words: notify.InOwnersUnits(entryWords(e), file.Owner.Units), Note: e.Note})
		}
	}
	if f := file.Protection; f != nil {
		p.Freezes = plusMinusFor(file.Owner.Units, f.FreezePoint, f.Uncertainty)
	}
	reach := notify.Workshop{Phone: settings.Phone, From: settings.From}.ReachOnPaper()
	machine, guide := ownerMachineOf(file, nil, today, reach)
	if len(machine.Steps) == 0 {
		machine.Steps, machine.Leave = guide.Steps, guide.Leave
	}
	p.Machine, p.Wet = machine, fullest(nil, guide.Wet)
	p.Cautions = ownersCautions([]workshop.File{file}, file.Owner.Units)
	return s.render(w, http.StatusOK, "handover", p)
}

// lastVisit is what was recorded in the last stay of a machine on the bench,
// and the day it went back; zero while it is still here.
func lastVisit(history []loops.Entry) (visit []loops.Entry, back loops.Day) {
	standing := loops.Standing(history)
	last := -1
	for i, e := range standing {
		if e.Kind == loops.KindHandover {
			last = i
		}
	}
	end := len(standing)
	if last >= 0 && !slices.ContainsFunc(standing[last+1:], isBenchWork) {
		end, back = last, standing[last].Day
	}
	begin := 0
	for i := end - 1; i >= 0; i-- {
		if standing[i].Kind == loops.KindHandover {
			begin = i + 1
			break
		}
		if standing[i].Kind == loops.KindIntake {
			begin = i
			break
		}
	}
	return standing[begin:end], back
}

// isBenchWork tells entries that are made with the machine on the bench.
func isBenchWork(e loops.Entry) bool {
	switch e.Kind {
	case loops.KindIntake, loops.KindOpening, loops.KindClean, loops.KindFlush, loops.KindFill, loops.KindDrain, loops.KindLeakCheck, loops.KindProof:
		return true
	}
	return false
}
