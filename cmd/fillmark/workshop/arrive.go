// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// Arrival is a machine at the counter: who, what, what is wrong, photos. All else
// is not known yet, and asked by the act that can see or measure it.
type Arrival struct {
	// Tag is a loop on record that comes in again; nothing else of the machine is
	// asked then.
	Tag loops.Tag `json:"tag,omitempty"`
	// Who is name, telephone and mail in one line, see [loops.ReadOwner]; Owner is
	// one on record instead. A donor unit has neither.
	Who   string        `json:"who,omitempty"`
	Owner loops.OwnerID `json:"owner,omitempty"`
	// New tells that who is somebody else than those of that name on record.
	New  bool              `json:"somebody_new,omitempty"`
	Kind loops.MachineKind `json:"kind,omitempty"`
	// Model is what its plate says, maker and model or the model alone.
	Model     string   `json:"model,omitempty"`
	Complaint string   `json:"complaint,omitempty"`
	Photos    []string `json:"photos,omitempty"` // hashes of photos that are kept
	// Key was made once for this arrival, so that sending it again records it once.
	Key string `json:"key,omitempty"`
}

// Arrive puts a machine on record with what is said at the counter. An owner of
// that name who is on record already is an error that names them, unless it is
// said that this is somebody new.
func (w *Workshop) Arrive(s Stamp, a Arrival) (loops.Loop, error) {
	intake := &acts.Intake{Intake: loops.Intake{Complaint: a.Complaint, Photos: a.Photos}}
	if a.Tag != "" {
		intake.Key = a.Key
		_, err := w.Act(s, a.Tag, intake)
		if err != nil {
			return loops.Loop{}, err
		}
		return w.register.LoopByTag(a.Tag)
	}
	r := Registration{
		Machine: loops.Machine{Kind: a.Kind, Model: a.Model, Name: cmp.Or(a.Model, string(a.Kind))},
		Loop:    Unseen(), Acts: []acts.Act{intake}, Key: a.Key,
	}
	if a.Kind != loops.DonorUnit {
		r.Owner = loops.ReadOwner(a.Who)
		r.Owner.ID = a.Owner
	}
	first, err := w.Registered(r)
	if err != nil || first.ID != 0 {
		return first, err
	}
	if r.Owner.ID == 0 && !a.New {
		if err := w.nobodyElse(r.Owner.Name); err != nil {
			return loops.Loop{}, err
		}
	}
	return w.Register(s, r)
}

// nobodyElse refuses the name of an owner who is on record.
func (w *Workshop) nobodyElse(name string) error {
	same, err := w.OwnersNamed(name)
	if err != nil || len(same) == 0 {
		return err
	}
	var numbers []string
	for _, o := range same {
		numbers = append(numbers, fmt.Sprint(o.ID))
	}
	return &loops.InvalidError{Field: "who", Value: name, Reason: "whether it is the owner of that name on record, number " + strings.Join(numbers, " or ") + ", or somebody new"}
}

// OwnersNamed lists the owners of a name, whatever its case and blanks.
func (w *Workshop) OwnersNamed(name string) ([]loops.Owner, error) {
	plain := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	if plain(name) == "" {
		return nil, nil
	}
	var same []loops.Owner
	for o, err := range w.register.Owners() {
		if err != nil {
			return nil, err
		}
		if strings.EqualFold(plain(o.Name), plain(name)) {
			same = append(same, o)
		}
	}
	return same, nil
}

// Unseen is a loop that nobody looked at: it is taken for sealed until somebody
// did.
func Unseen() loops.Loop {
	return loops.Loop{Construction: loops.Construction{Sealed: true, BuiltKnown: loops.Known{How: loops.NotKnown}}}
}

// lastUnit is the last unit of a model and how it is built; with no machine where
// there is none, or nobody knows.
type lastUnit struct {
	loops.Machine
	built loops.Construction
}

// asTheLast fills what nobody said of a machine from the last unit of its model:
// each part of it is assumed until somebody looks. Where its build was said, or no
// other unit is on record, nothing is filled in. Last keeps what was found, by
// model: looking reads every machine.
func (w *Workshop) asTheLast(r Registration, last map[string]lastUnit) (Registration, error) {
	if r.Loop.BuiltKnown.How != loops.NotKnown || r.Machine.ID != 0 || r.Machine.Model == "" {
		return r, nil
	}
	model := fmt.Sprintf("%q", []string{string(r.Machine.Kind), r.Machine.Maker, r.Machine.Model})
	unit, looked := last[model]
	if !looked {
		var err error
		if unit, err = w.lastUnit(r.Machine); err != nil {
			return r, err
		}
		last[model] = unit
	}
	if unit.ID == 0 {
		return r, nil
	}
	return r.like(unit.Machine, unit.built), nil
}

// lastUnit looks for the last unit of a machine's model.
func (w *Workshop) lastUnit(of loops.Machine) (lastUnit, error) {
	var last lastUnit
	for m, err := range w.register.Machines() {
		if err != nil {
			return lastUnit{}, err
		}
		if m.Kind == of.Kind && sameModel(m, of) && m.ID > last.ID {
			last.Machine = m
		}
	}
	if last.ID == 0 {
		return last, nil
	}
	inside, err := w.register.LoopsOf(last.ID)
	if err != nil || len(inside) != 1 || inside[0].BuiltKnown.How == loops.NotKnown { // which of several nobody knows
		return lastUnit{}, err
	}
	last.built = inside[0].Construction.AsIn(inside[0].Tag)
	return last, nil
}

// like is the registration with what nobody said taken over.
func (r Registration) like(m loops.Machine, built loops.Construction) Registration {
	said := acts.Loops().Say(r.Loop)
	for name, texts := range said {
		if len(texts) == 0 || name == "sealed" || name == "built-known" {
			delete(said, name)
		}
	}
	is := r.Loop
	is.Construction = built
	if err := acts.Loops().Read(&is, said); err != nil {
		return r // what a record says can be read again
	}
	r.Loop = is
	if r.Machine.Maker == "" {
		r.Machine.Maker, r.Machine.Model = m.Maker, m.Model
	}
	return r
}

// sameModel tells whether what was typed is the model of a machine: its plate's
// model, alone or behind its maker.
func sameModel(m, typed loops.Machine) bool {
	if m.Model == "" {
		return false
	}
	plate := strings.Join(strings.Fields(typed.Maker+" "+typed.Model), " ")
	return strings.EqualFold(plate, m.Model) && typed.Maker == "" || strings.EqualFold(plate, strings.TrimSpace(m.Maker+" "+m.Model))
}

// Match is somebody or something on record that fits what was typed at the
// counter: an owner, or a loop of theirs.
type Match struct {
	Owner   loops.Owner   `json:"owner"`
	Machine loops.Machine `json:"machine,omitzero"`
	Tag     loops.Tag     `json:"tag,omitempty"` // empty where it is the owner alone
}

// Matches finds owners, each followed by their loops, by part of a name, a
// telephone or a mail address; a machine by its tag or name. At most so many
// lines; nothing for fewer than two characters.
func (w *Workshop) Matches(text string, most int) ([]Match, error) {
	text = strings.TrimSpace(text)
	var found []Match
	if tag, err := loops.ParseTag(text); err == nil {
		if f, err := w.File(tag); err == nil {
			return []Match{{Owner: f.Owner, Machine: f.Machine, Tag: tag}}, nil
		} else if !errors.Is(err, loops.ErrNotFound) {
			return nil, err
		}
	}
	if len([]rune(text)) < 2 {
		return nil, nil
	}
	for o, err := range w.register.Owners() {
		if err != nil || len(found) >= most {
			return found, err
		}
		if !o.Fits(text) {
			continue
		}
		found = append(found, Match{Owner: o})
		theirs, err := w.FindLoops(LoopQuery{Owner: o.ID})
		if err != nil {
			return nil, err
		}
		for _, l := range theirs {
			if len(found) < most {
				found = append(found, Match{Owner: o, Machine: loops.Machine{ID: l.Loop.Machine, Name: l.MachineName, Kind: l.MachineKind}, Tag: l.Tag})
			}
		}
	}
	return found, nil
}
