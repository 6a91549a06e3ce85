// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"net/http"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// entryOfTopUp is the form of the act that enters a top-up; the questions stand
// beside its inputs.
func (s *server) entryOfTopUp(f *form) (*actForm, error) {
	d := s.acts["poured"]
	entry := formOf(d, f, d.Name+".")
	entry.Page = "topup"
	var err error
	if entry.Key = f.text(entry.Input("key")); entry.Key == "" {
		entry.Key, err = newKey(s.Random)
	}
	return entry, err
}

// enterTopUp records a top-up as it was poured, and the reading that was taken
// for it.
func (s *server) enterTopUp(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p, err := s.topupPage(r, f)
	if err != nil {
		return err
	}
	p.Entry.Sent = true
	f.typed.Set("ask", "yes")
	if err := s.checkTopUp(&p, p.Entry.Key); err != nil {
		return err
	}
	question, file, _, _, err := s.topUpQuestion(f, p.Entry.Key)
	if err != nil {
		return err
	}
	if file == nil {
		f.blame("tag", "the tag of a loop on record; nothing can be entered without one")
	}
	if f.OK() {
		all, err := topUpActs(p.Entry, question, file.Loop.State)
		if err != nil {
			return err
		}
		done, err := s.does(r, file.Loop.Tag, p.Entry, all...)
		if err != nil {
			return err
		}
		if done {
			http.Redirect(w, r, "/loops/"+string(file.Loop.Tag), http.StatusSeeOther)
			return nil
		}
	}
	return s.renderTopUp(w, cmp.Or(p.Entry.status, http.StatusUnprocessableEntity), p)
}

// topUpActs are what goes on record: the strength and the room to the mark, where
// they were read, and what was poured. What is still missing is worked out where
// nobody looked.
func topUpActs(f *actForm, q workshop.TopUpQuestion, state loops.State) ([]acts.Act, error) {
	a, err := f.read(f.said())
	topUp, ok := a.(*acts.TopUp)
	if err != nil || !ok {
		return nil, err
	}
	if topUp.Missing == 0 && q.Room != nil {
		left := *q.Room + topUp.Drained
		for _, p := range topUp.Poured {
			left -= p.Volume
		}
		topUp.Missing = max(0, left)
	}
	if q.Mass == nil && (q.Room == nil || *q.Room == state.Missing) {
		return []acts.Act{topUp}, nil
	}
	read := &acts.Readings{Inspection: loops.Inspection{Mass: q.Mass, MassUncertainty: q.MassUncertainty, Missing: q.Room}}
	read.Key, topUp.Key = topUp.Key, "" // one key, one entry: the first one's
	read.MassKnown.By = map[string]string{"brix": "refractometer, °Brix", "index": "refractometer", "density": "hydrometer", "freeze": "freeze-point scale"}[f.text("kind")]
	return []acts.Act{read, topUp}, nil
}
