// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
)

// handoverPage is the sheet that goes back with a machine.
type handoverPage struct {
	frame
	// First is its first line: the words of what stands against the machine and of
	// what is proved. Stands says them in whole sentences.
	First  string
	Stands []string
	// SetAside are the rules that were set aside, by whom and why.
	SetAside []string
	// KeptOff tells that it is to stay switched off.
	KeptOff bool
	// AsItIs tells that it goes back unrepaired.
	AsItIs bool
	Tag    loops.Tag
	Loop   string
	Owner  loops.Owner
	Day    loops.Day
	Today  loops.Day // what is due before it is due now
	Back   bool      // the hand-over is on record
	Done   []historyLine
	Bill   loops.Bill
	// Warranty is the last day on which the workshop stands for the work; zero
	// where it said nothing.
	Warranty loops.Day
	Before   string
	After    string
	Charge   string
	Cold     string // how much cold it bears; empty for an empty loop
	Machine  ownerMachine
	Next     []loops.Task
	Wet      []string
	// Cautions are in owners' words.
	Cautions []string
}

func (s *server) pageHandover(w http.ResponseWriter, r *http.Request) error {
	whole, err := s.fileOf(r)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "handover", s.handoverPage(r, whole.ForOwner()))
}

func (s *server) handoverPage(r *http.Request, file workshop.OwnersFile) handoverPage {
	settings := s.Workshop.Settings()
	today := s.Workshop.DayOf(file.Owner, s.Now())
	p := handoverPage{
		frame: s.newFrame(r, "Hand-over "+string(file.Loop.Tag)), Tag: file.Loop.Tag, Loop: file.Loop.Name, Owner: file.Owner, Day: today, Today: today,
		Charge: chargeLine(file.Loop.State), Next: workshop.NextTasks(file.Loop.Plan),
	}
	p.Here = "loops"
	visit, back := lastVisit(file.View.Entries())
	if back != nil {
		p.Day, p.Back, p.AsItIs = back.Day, true, back.Kind == loops.KindReturn
	}
	loop := notify.HandoverLoopOf(p.words, file.Loop, file.View)
	p.Stands, p.KeptOff = howItStands(p.words, file, back), loops.KeptOff(loop.Conditions)
	p.First = firstLine(loop)
	for _, o := range loop.SetAside {
		p.SetAside = append(p.SetAside, fmt.Sprintf("Set aside by %s on %s: %s, because %s.",
			o.By, o.Day.Long(), notify.RuleForOwner(p.words, o), strings.TrimSuffix(o.Why, ".")))
	}
	p.Bill = lastBill(file.View.Entries())
	if back != nil {
		p.Warranty = loops.OwnWarranty([]loops.Entry{*back})
	}
	for _, e := range visit {
		if e.Kind == loops.KindProof {
			p.Before = notify.InOwnersUnits(readings(&e.Proof.Before), file.Owner.Units)
			p.After = notify.InOwnersUnits(readings(&e.Proof.After), file.Owner.Units)
			continue
		}
		if e.Kind != loops.KindStep && e.Kind != loops.KindWork {
			p.Done = append(p.Done, historyLine{ID: e.ID, Day: e.Day, Kind: e.Kind, Words: notify.InOwnersUnits(EntryWords(e), file.Owner.Units), Note: e.Note})
		}
	}
	if file.Loop.State.Charge != nil {
		p.Cold = minuses(loop.Cold(p.words, file.Owner.Units))
	}
	house := notify.Workshop{Phone: settings.Phone, From: settings.From}
	reach := house.ReachOnPaper(p.words) // the bench prints it, in English so far
	machine, guide := ownerMachineOf(p.spoken, file, nil, today, reach)
	if p.KeptOff {
		guide = guide.KeepOff(p.words, reach)
	}
	machine.Steps, machine.Leave, machine.Sealed = guide.Steps, guide.Leave, file.Loop.Sealed
	p.Machine, p.Wet = machine, fullest(nil, guide.Wet)
	p.Cautions = ownersCautions([]workshop.OwnersFile{file}, file.Owner.Units)
	return p
}

// howItStands says what stands against the loop and what is proved, as the letter
// does, and why it went back as it is; back is nil while it is here.
func howItStands(ws words.Words, file workshop.OwnersFile, back *loops.Entry) []string {
	state := file.Loop.State
	said := notify.HandoverLoopOf(ws, file.Loop, file.View).HowItStands(ws)
	switch r := file.Readings; {
	case !state.Proved.IsZero():
		if r != nil && r.Proof != nil && r.Proof.Day == state.Proved {
			said = append(said, ws.Recorded(notify.InOwnersUnits(r.Proof.Sentence(), file.Owner.Units)))
		}
	case state.Unproved() && state.Retired.IsZero(): // one of its conditions
	case state.Charge != nil && state.Charge.Origin != loops.WorkshopFill:
		said = append(said, ws.Say("card.unproven", ws.Say("card.not-filled")))
	default:
		said = append(said, ws.Say("card.unproven", ws.Say("card.nothing-shows")))
	}
	if back != nil && back.Kind == loops.KindReturn {
		said = append(said, ws.Say("card.returned", strings.TrimSuffix(back.Return.Why, ".")))
	}
	return said
}

// firstLine is what stands against a loop, or, where nothing does, that it is
// proved: "proved" beside "leaking" would be read as sound.
func firstLine(l notify.HandoverLoop) string {
	var said []string
	for _, c := range l.Conditions {
		if c.Kind != loops.IsUnproved {
			said = append(said, strings.ToUpper(string(c.Kind)))
		}
	}
	switch {
	case l.Proved.IsZero():
		said = append(said, strings.ToUpper(string(loops.IsUnproved)))
	case len(said) == 0:
		return "Proved on " + l.Proved.Long()
	}
	return strings.Join(said, ", ")
}

// lastVisit is what was recorded in the last stay of a machine on the bench,
// and the entry with which it went back; nil while it is still here.
func lastVisit(history []loops.Entry) (visit []loops.Entry, back *loops.Entry) {
	standing := loops.Standing(history)
	last := -1
	for i, e := range standing {
		if wentBack(e) {
			last = i
		}
	}
	end := len(standing)
	if last >= 0 && !slices.ContainsFunc(standing[last+1:], isBenchWork) {
		end, back = last, &standing[last]
	}
	begin := 0
	for i := end - 1; i >= 0; i-- {
		if wentBack(standing[i]) {
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

// lastBill is the bill of the last visit: lines that were written after the
// machine went back too, and none of an owner before this one.
func lastBill(history []loops.Entry) loops.Bill {
	lines, back := lastVisit(history)
	if back != nil {
		standing := loops.Standing(history)
		after := slices.IndexFunc(standing, func(e loops.Entry) bool { return e.ID == back.ID })
		lines = slices.Concat(lines, standing[after+1:])
	}
	for i, e := range slices.Backward(lines) {
		if e.Kind == loops.KindTransfer {
			lines = lines[i+1:]
			break
		}
	}
	return loops.BillOf(lines)
}

// wentBack tells the entries with which a machine leaves the bench.
func wentBack(e loops.Entry) bool { return e.Kind == loops.KindHandover || e.Kind == loops.KindReturn }

// isBenchWork tells entries that are made with the machine on the bench.
func isBenchWork(e loops.Entry) bool {
	switch e.Kind {
	case loops.KindIntake, loops.KindOpening, loops.KindClean, loops.KindFlush, loops.KindDrain, loops.KindLeakCheck, loops.KindProof:
		return true
	}
	return e.BeginsCharge()
}
