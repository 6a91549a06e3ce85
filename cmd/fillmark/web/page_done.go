// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// doneForm is the page that a form stands on which writes down, from the list of
// what is due, what was done about a task.
const doneForm = "done"

// donePage is the form of one act by itself. Script shows it in place on the
// list.
type donePage struct {
	frame
	Tag     loops.Tag
	Machine string
	Acts    actForms
	Act     *actForm
	From    string // the page of the list that asked for it
	// Containers are those that a dose can come from; nil where none is asked.
	Containers []choice
}

// doneBy is the act that settles a task and that one form can say; empty for
// those that are worked out or worked off on a page of their own.
func doneBy(task loops.TaskKind) string {
	switch task {
	case loops.Look, loops.ServiceCheck:
		return "readings"
	case loops.InhibitorRenewal, loops.BiocideRenewal:
		return "dose"
	case loops.LeakCheckTask:
		return "leakcheck"
	}
	return ""
}

// doneWay leads to where it is written down that a task is done.
type doneWay struct {
	Label, Href string
	InPlace     bool // its form can stand on the list
}

// Done are the ways to write down what was done about the tasks of a loop.
func (l dueLoop) Done() []doneWay {
	var ways []doneWay
	path := "/loops/" + string(l.Tag)
	for _, line := range l.Lines {
		way := doneWay{Label: "Job sheet", Href: path + "/refill"}
		switch act := doneBy(line.Task); {
		case act != "":
			query := url.Values{"act": {act}, "from": {strconv.Itoa(l.Page)}}
			way = doneWay{Label: map[string]string{"readings": "Done: enter readings", "dose": "Done: enter a dose", "leakcheck": "Done: enter the leak check"}[act], Href: path + "/done?" + query.Encode(), InPlace: true}
		case line.Task == loops.TopUpTask:
			way = doneWay{Label: "Top-up check", Href: "/topup?tag=" + string(l.Tag)}
		}
		if !slices.Contains(ways, way) {
			ways = append(ways, way)
		}
	}
	return ways
}

func (s *server) pageDone(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileAtShelf(r)
	if err != nil {
		return err
	}
	name := cmp.Or(r.URL.Query().Get("act"), doneBy(loops.Look))
	if !slices.ContainsFunc(loops.TaskKinds(), func(t loops.TaskKind) bool { return doneBy(t) == name }) {
		return loops.ErrNotFound
	}
	p, err := s.donePage(r, file, name, nil)
	if err != nil {
		return err
	}
	p.From = r.URL.Query().Get("from")
	return s.render(w, http.StatusOK, doneForm, p)
}

func (s *server) donePage(r *http.Request, file workshop.File, name string, sent *actForm) (donePage, error) {
	p := donePage{frame: s.newFrame(r, "Done"), Tag: file.Loop.Tag, Machine: file.Machine.Name, Acts: s.actForms(file, doneForm, sent)}
	p.Here = "due"
	if sent != nil {
		p.From = sent.text("from")
	}
	var err error
	if p.Act, err = p.Acts.Of(name); err != nil {
		return p, err
	}
	if p.Act.Kind == loops.KindDose {
		p.Containers, err = s.containerChoices(file)
	}
	return p, err
}

// First are the fields that most visits have a figure or a word for.
func (p donePage) First() ([]field, error) { return p.parted(true) }

// More are the rest of the act's own fields.
func (p donePage) More() ([]field, error) { return p.parted(false) }

func (p donePage) parted(first bool) ([]field, error) {
	all, err := p.Act.Own()
	if p.Act.Kind != loops.KindInspection {
		if !first {
			return nil, err
		}
		return all, err
	}
	usual := []string{"verdict", "die", "room", "power", "noise", "steady"}
	all = slices.DeleteFunc(all, func(x field) bool { return slices.Contains(usual, x.Name) != first })
	slices.SortStableFunc(all, func(a, b field) int { return cmp.Compare(slices.Index(usual, a.Name), slices.Index(usual, b.Name)) })
	return all, err
}

// undoable tells that an entry of the kind is written down from the list, and
// can be taken back there.
func undoable(kind loops.EntryKind) bool {
	return kind == loops.KindCall || slices.ContainsFunc(loops.TaskKinds(), func(t loops.TaskKind) bool {
		d, ok := acts.Find(doneBy(t))
		return ok && d.Kind == kind
	})
}

// backToDue is the page of the list that a form stood on, or what one person has
// on it: the list's script asks for that, wherever they stand by now.
func backToDue(from string, entered ...string) string {
	query := url.Values{}
	if page, err := strconv.Atoi(from); err != nil && from != "" {
		query.Set("of", from)
	} else if page > 1 {
		query.Set("page", strconv.Itoa(page))
	}
	for _, e := range entered {
		query.Add("called", e)
	}
	if len(query) == 0 {
		return "/"
	}
	return "/?" + query.Encode()
}

// enteredAs names an entry as the list's address does: TAG:ENTRY.
func enteredAs(tag loops.Tag, entry loops.EntryID) string {
	return string(tag) + ":" + strconv.FormatUint(uint64(entry), 10)
}
