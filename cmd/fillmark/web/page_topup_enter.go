// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// enterTopUp records a top-up as it was poured. The verdict is worked out
// anew from the questions: a stop is not recorded as done.
func (s *server) enterTopUp(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p, err := s.topupPage(r, f)
	if err != nil {
		return err
	}
	f.typed.Set("ask", "yes")
	for _, row := range p.Rows { // what was poured is typed, never reckoned
		f.offer(row.Carried, "")
	}
	if err := s.checkTopUp(&p); err != nil {
		return err
	}
	question, file, hand, err := s.topUpQuestion(f)
	if err != nil {
		return err
	}
	if file == nil {
		f.blame("tag", "the tag of a loop on record; nothing can be entered without one")
	}
	if f.OK() && p.Answer != nil && p.Answer.Verdict == chemistry.Stop {
		f.Rest = append(f.Rest, Problem{Field: "verdict", Value: "stop", Right: "nothing to enter: the reasons say what to do instead"})
	}
	if f.OK() {
		entries := topUpEntries(f, question, hand)
		if f.OK() {
			err = s.record(r, file.Loop.Tag, entries...)
			if err == nil {
				s.Wake()
				http.Redirect(w, r, "/loops/"+string(file.Loop.Tag), http.StatusSeeOther)
				return nil
			}
			if err := f.take(err, map[string]string{"poured": "poured1", "drained": "drained", "disposal": "disposal", "hazard": "hazard", "missing": "missing"}); err != nil {
				return err
			}
		}
	}
	return s.render(w, http.StatusUnprocessableEntity, "topup", p)
}

// topUpEntries are what goes on record: the reading, where one was taken, and
// what was poured.
func topUpEntries(f *form, q workshop.TopUpQuestion, hand []handLiquid) []loops.Entry {
	var entries []loops.Entry
	if f.text("kind") != "" && q.Mass != nil {
		entries = append(entries, loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{
			Mass: q.Mass, MassUncertainty: q.MassUncertainty, Missing: q.Room, Verdict: loops.NotJudged,
		}})
	}
	topUp := &loops.TopUp{Hazard: f.text("hazard"), Disposal: f.text("disposal")}
	room := *q.Room
	if drained := mayRead(f, "drained", "ml", chemistry.ParseLitre); drained != nil {
		topUp.Drained = *drained
		room += *drained
	}
	for _, h := range hand {
		volume := mayRead(f, h.Row.Carried, "ml", chemistry.ParseLitre)
		if volume == nil || *volume == 0 {
			continue
		}
		topUp.Poured = append(topUp.Poured, loops.Pour{Liquid: h.Name, Fluid: h.Fluid, Mass: h.Mass, Volume: *volume, Container: h.Container})
		room -= *volume
	}
	topUp.Missing = max(0, room)
	if len(topUp.Poured) == 0 {
		f.Rest = append(f.Rest, Problem{Field: "poured", Right: "how much of at least one liquid went in"})
	}
	return append(entries, loops.Entry{Kind: loops.KindTopUp, TopUp: topUp, Note: f.text("note")})
}

// record records entries as the request's technician, all or none.
func (s *server) record(r *http.Request, tag loops.Tag, entries ...loops.Entry) error {
	all, err := actsOf(entries)
	if err == nil {
		_, err = s.Workshop.Act(s.stamp(r), tag, all...)
	}
	return err
}

// actsOf are the acts that write the entries.
func actsOf(entries []loops.Entry) ([]acts.Act, error) {
	var all []acts.Act
	for _, e := range entries {
		a, ok := acts.Entered(e)
		if !ok {
			return nil, &loops.InvalidError{Field: "kind", Value: string(e.Kind), Reason: "an act"}
		}
		all = append(all, a)
	}
	return all, nil
}
