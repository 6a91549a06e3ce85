// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/chemistry"
	"fillmark/loops"
)

// loopForms are the choices in the small forms of a loop's page.
type loopForms struct {
	Judgements []choice
	Roles      []choice
	Containers []choice
	Tasks      []choice
	Settings   []choice
	Reasons    []choice
}

// The ways in which a form changes how a loop is planned.
const (
	settingInterval = "interval"
	settingPause    = "pause"
	settingResume   = "resume"
)

func (s *server) loopForms() (loopForms, error) {
	containers := []choice{{Label: "not from the shelf"}}
	all, err := s.containerChoices()
	if err == nil {
		containers = all
	}
	return loopForms{
		Judgements: choicesOf("", []loops.Judgement{loops.NotJudged, loops.Good, loops.Watch, loops.Failed}),
		Roles:      choicesOf("", []loops.AdditiveRole{loops.RoleInhibitor, loops.RoleBiocide}),
		Containers: containers,
		Tasks:      choicesOf("", loops.TaskKinds()),
		Settings: []choice{
			{Value: settingInterval, Label: "an interval of its own"}, {Value: settingPause, Label: "paused"}, {Value: settingResume, Label: "as the policy has it"},
		},
		Reasons: choicesOf("", loops.RetirementReasons()),
	}, err
}

// enterLoop records what one of the small forms of a loop's page says.
func (s *server) enterLoop(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	entry, fields := loopEntry(f)
	if f.OK() {
		if day := mayRead(f, "on", "", loops.ParseDay); day != nil {
			entry.Day = *day
		}
	}
	if f.OK() {
		err := s.record(r, file.Loop.Tag, entry)
		if err == nil {
			s.Wake()
			http.Redirect(w, r, "/loops/"+string(file.Loop.Tag)+"#history", http.StatusSeeOther)
			return nil
		}
		if err := f.take(err, fields); err != nil {
			return err
		}
	}
	p, err := s.loopPage(r, file, f)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusUnprocessableEntity, "loop", p)
}

// loopEntry reads the form that was sent and says where its figures stand.
func loopEntry(f *form) (loops.Entry, map[string]string) {
	note := f.text("note")
	switch do := f.text("do"); do {
	case "readings":
		x := readingsOf(f, "read_")
		return loops.Entry{Kind: loops.KindInspection, Note: note, Inspection: &x}, map[string]string{
			"die": "read_die", "room": "read_room_air", "power": "read_power", "coolant in": "read_coolant_in", "coolant out": "read_coolant_out",
			"pH": "read_ph", "missing": "read_missing", "weight": "read_weight", "noise": "read_noise", "verdict": "read_verdict", "day": "on",
			"strength": "read_mass", "running hours": "read_running_hours",
		}
	case "dose":
		x := loops.Dose{Role: loops.AdditiveRole(f.text("role")), Container: orZero(mayRead(f, "dose_container", "", loops.ParseContainer)), Volume: orZero(mayRead(f, "dose_volume", "ml", chemistry.ParseLitre))}
		x.Additive = loops.Additive{Family: f.text("family"), Product: f.text("dose_product"), DoseMLPerL: orZero(mayRead(f, "per_litre", "", number)), LifeMonths: months(f, "life")}
		role := string(x.Role)
		return loops.Entry{Kind: loops.KindDose, Note: note, Dose: &x}, map[string]string{
			"day": "on", "volume": "dose_volume", "container": "dose_container", role + " family": "family", role + " product": "dose_product",
			role + " dose": "per_litre", role + " life": "life",
		}
	case "setting":
		return settingEntry(f), map[string]string{"interval": "months", "why": "setting_why", "task": "task", "day": "on"}
	case "retire":
		x := loops.Retirement{Reason: loops.RetirementReason(f.text("reason")), StatedRatingW: mayRead(f, "rating", "", number)}
		return loops.Entry{Kind: loops.KindRetirement, Note: f.text("retire_note"), Retirement: &x}, map[string]string{
			"reason": "reason", "stated rating": "rating", "note": "retire_note", "day": "on",
		}
	case "strike":
		return loops.Entry{Kind: loops.KindCorrection, Correction: &loops.Correction{
			Strikes: loops.EntryID(read(f, "strikes", "", number)), Why: f.text("why"),
		}}, nil
	default:
		f.Rest = append(f.Rest, Problem{Field: "form", Value: do, Right: "a form of this page"})
		return loops.Entry{}, nil
	}
}

// settingEntry reads how a task of the loop is to be planned from now on.
func settingEntry(f *form) loops.Entry {
	x := loops.Setting{Task: loops.TaskKind(f.text("task")), Why: f.text("setting_why")}
	switch f.text("setting") {
	case settingInterval:
		if x.IntervalMonths = months(f, "months"); x.IntervalMonths == 0 {
			f.blame("months", "every how many months, 1 to 240")
		}
	case settingPause:
		x.Paused = true
	case settingResume:
	default:
		f.blame("setting", "one of the list")
	}
	return loops.Entry{Kind: loops.KindSetting, Setting: &x}
}
