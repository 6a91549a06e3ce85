// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/drawing"
	"fillmark/loops"
	"fillmark/notify"
)

// labelPage is the label of a loop or of a container, or the labels of several
// loops, for a 62 mm roll or sheets of A4.
type labelPage struct {
	frame
	Size    string // 62 or a4
	Other   string // address of the other size
	Back    string
	BackTo  string
	Form    *form
	Tags    []string // of several loops, as the address has them; nil for one label
	Setting string   // the one that is missing for a QR
	Sheets  []labelSheet
}

// labelSheet is a sheet of A4, or a length of the roll.
type labelSheet struct {
	Used   []int // the places before the first free one
	Labels []label
}

// label is what is printed; nothing on it is smaller than 2 mm.
type label struct {
	Big  string // tag, or the container's number
	Name string
	QR   *drawing.QR
	// Setting is the one that is missing for the QR.
	Setting string
	Lines   []labelLine
	// Cautions are the dangers in words.
	Cautions        []string
	Workshop, Phone string
}

// labelLine is one line of a label; it has a name where the figure needs one.
type labelLine struct{ Name, Text string }

// sheetPlaces is how many labels of 62 by 90 mm a sheet of A4 holds: three rows
// of three.
const sheetPlaces = 9

func (s *server) pageLabel(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	l, err := s.loopLabel(file.ForOwner())
	if err != nil {
		return err
	}
	tag := string(file.Loop.Tag)
	return s.renderLabels(w, r, labelPage{frame: s.newFrame(r, "Label "+tag), Back: "/loops/" + tag}, l)
}

// pageLabels are the labels of several loops, one each.
func (s *server) pageLabels(w http.ResponseWriter, r *http.Request) error {
	p := labelPage{frame: s.newFrame(r, "Labels"), Back: "/loops", BackTo: "Loops", Tags: r.URL.Query()["tag"]}
	if n := len(p.Tags); n < 1 || n > workshop.MostUnits {
		return &loops.InvalidError{Field: "tag", Value: fmt.Sprint(n, " tags"), Reason: fmt.Sprintf("the tags of 1 to %d loops", workshop.MostUnits)}
	}
	var all []label
	for _, text := range p.Tags {
		tag, err := loops.ParseTag(text)
		if err != nil {
			return err
		}
		file, err := s.Workshop.File(tag)
		if err != nil {
			return err
		}
		l, err := s.loopLabel(file.ForOwner())
		if err != nil {
			return err
		}
		all = append(all, l)
	}
	return s.renderLabels(w, r, p, all...)
}

func (s *server) pageContainerLabel(w http.ResponseWriter, r *http.Request) error {
	id, err := loops.ParseContainer(r.PathValue("id"))
	if err != nil {
		return loops.ErrNotFound
	}
	c, err := s.Workshop.Container(id)
	if err != nil {
		return err
	}
	l, err := s.containerLabel(c)
	if err != nil {
		return err
	}
	number := r.PathValue("id")
	return s.renderLabels(w, r, labelPage{frame: s.newFrame(r, "Label of container "+number), Back: "/shelf/" + number}, l)
}

func (s *server) renderLabels(w http.ResponseWriter, r *http.Request, p labelPage, all ...label) error {
	query := r.URL.Query()
	p.Size, p.Form, p.BackTo, p.Setting = cmp.Or(query.Get("size"), "62"), newForm(query), cmp.Or(p.BackTo, "Back"), all[0].Setting
	if p.Tags != nil && query.Get("size") == "" {
		p.Size = "a4"
	}
	switch p.Size {
	case "62":
		p.Sheets = []labelSheet{{Labels: all}}
	case "a4":
		place, err := onSheet("place", p.Form.text("place"), sheetPlaces)
		if err != nil {
			return err
		}
		if p.Tags == nil {
			copies, err := onSheet("copies", p.Form.text("copies"), sheetPlaces-place+1)
			if err != nil {
				return err
			}
			all = slices.Repeat(all, copies)
		}
		p.Sheets = onSheets(all, place)
	default:
		return &loops.InvalidError{Field: "size", Value: p.Size, Reason: "62 (a roll of 62 mm) or a4"}
	}
	other := url.Values{"size": {map[string]string{"62": "a4", "a4": "62"}[p.Size]}}
	if p.Tags != nil {
		other["tag"] = p.Tags
	}
	p.Other = r.URL.Path + "?" + other.Encode()
	return s.render(w, http.StatusOK, "label", p)
}

// onSheets lays labels out from the first free place on.
func onSheets(all []label, place int) []labelSheet {
	first := min(len(all), sheetPlaces-place+1)
	sheets := []labelSheet{{Used: make([]int, place-1), Labels: all[:first]}}
	for more := range slices.Chunk(all[first:], sheetPlaces) {
		sheets = append(sheets, labelSheet{Labels: more})
	}
	return sheets
}

// onSheet reads a count of places from 1 to most; empty is 1.
func onSheet(name, text string, most int) (int, error) {
	n, err := strconv.Atoi(cmp.Or(text, "1"))
	if err != nil || n < 1 || n > most {
		return 0, &loops.InvalidError{Field: name, Value: text, Reason: fmt.Sprintf("1 to %d on this sheet", most)}
	}
	return n, nil
}

// loopLabel is the label of a loop, as it is on record now, in the units its
// owner prefers: the owner reads it more often than the workshop.
func (s *server) loopLabel(file workshop.OwnersFile) (label, error) {
	settings, loop := s.Workshop.Settings(), file.Loop
	l := label{Big: string(loop.Tag), Name: file.Machine.Name, Workshop: settings.Name, Phone: settings.Phone}
	if loop.Name != "" {
		l.Name += ", " + loop.Name
	}
	if err := s.leadTo(&l, "/loops/"+string(loop.Tag)); err != nil {
		return l, err
	}
	charge := loop.State.Charge
	l.Lines = labelStates(file)
	switch {
	case charge == nil && !loop.State.Empty.IsZero():
		l.Lines = append(l.Lines, labelLine{Text: "Empty: do not run the pump."})
		return l, nil
	case charge == nil:
		l.Cautions = labelCautions(loops.Charge{}, loop.Sealed)
		return l, nil
	}
	l.Lines = append(l.Lines, labelLine{"", labelStrength(*charge)})
	if p := file.Protection; p != nil {
		l.Lines = append(l.Lines, labelLine{"First ice", plusMinusFor(file.Owner.Units, p.FreezePoint, p.Uncertainty)})
	}
	l.Lines = append(l.Lines, labelLine{"Filled", charge.FilledTo.Long()})
	if tasks := workshop.NextTasks(loop.Plan); len(tasks) > 0 {
		l.Lines = append(l.Lines, labelLine{"Next", loops.Capital(string(tasks[0].Kind)) + ", " + s.notPast(file.Owner, tasks[0].Due)})
	}
	for _, caution := range labelCautions(*charge, loop.Sealed) {
		l.Cautions = append(l.Cautions, notify.InOwnersUnits(caution, file.Owner.Units))
	}
	return l, nil
}

// leadTo gives a label its code; where there is none, the setting that is missing.
func (s *server) leadTo(l *label, path string) (err error) {
	if l.QR, err = s.benchQR(path); l.QR == nil {
		l.Setting = "base_url"
	}
	return err
}

// notPast is a day as a label says it: one that has passed is never next.
func (s *server) notPast(owner loops.Owner, due loops.Day) string {
	if due.Before(s.Workshop.DayOf(owner, s.Now())) {
		return "now, since " + due.Long()
	}
	return due.Long()
}

// labelStrength says fluid, fraction with its basis and how it is known.
func labelStrength(c loops.Charge) string {
	if !c.Fluid.IsGlycol() || c.Mass == nil {
		return loops.Capital(strengthLine(c))
	}
	return loops.Capital(c.Fluid.Name()) + " " + quantity(*c.Mass) + c.MassKnown.Mark() + " in water"
}

// labelStates are what a label must say of a loop that is not as it should be.
func labelStates(file workshop.OwnersFile) []labelLine {
	var lines []labelLine
	state := file.Loop.State
	state.Retired = loops.Day{} // what is in it, and that it leaks, outlasts its service
	for _, c := range state.Conditions() {
		switch c.Kind {
		case loops.IsContaminated:
			lines = append(lines, labelLine{"Contaminated", loops.Capital(state.Contaminated.String()) + ": drain and rinse it"})
		case loops.IsLeaking:
			lines = append(lines, labelLine{"Leaking", "seen on " + c.Since.Long()})
		case loops.IsFailed:
			lines = append(lines, labelLine{"Failed", "found on " + c.Since.Long() + ": leave it off"})
		case loops.IsReturned:
			lines = append(lines, labelLine{"Returned", "as it is, on " + c.Since.Long()})
		case loops.IsUnproved:
			lines = append(lines, labelLine{"Repair", "not proven"})
		default:
			lines = append(lines, labelLine{loops.Capital(string(c.Kind)), "since " + c.Since.Long()})
		}
	}
	inWords := strings.NewReplacer("-", " ", "+", " and ") // what the rule says at length does not fit
	for _, o := range loops.SetAsideSinceFill(file.View.Entries()) {
		lines = append(lines, labelLine{"Set aside", inWords.Replace(o.Rule) + ": " + o.Why})
	}
	return lines
}

// labelCautions are the dangers in as few words as a label holds. The safety
// data sheet and local rules decide.
func labelCautions(c loops.Charge, sealed bool) []string {
	var words []string
	switch c.Fluid {
	case chemistry.EthyleneGlycol:
		words = append(words, "Contains ethylene glycol. Poisonous if swallowed. Keep from children and animals.")
	case chemistry.PropyleneGlycol:
		words = append(words, "Contains propylene glycol and additives. Do not drink. Keep from children and animals.")
	case "":
		unknown := []string{"Coolant not known."} // in one piece: line by line it is longer than the label
		for _, line := range chemistry.UnknownLiquid() {
			unknown = append(unknown, loops.Capital(line)+".")
		}
		words = append(words, strings.Join(unknown, " "))
	case chemistry.TreatedWater:
		words = append(words, "Water with additives. Do not drink. Freezes at 0\u00a0°C.")
	case chemistry.DeionisedWater:
		words = append(words, "Deionised water. Do not drink. Freezes at 0\u00a0°C.")
	}
	if c.Fluid.Further() {
		words = append(words, "Holds "+c.Fluid.Name()+", which no loop of electronics is made for. No flame, no bare hands. Keep from children and animals.")
	}
	if biocides := c.Having(loops.RoleBiocide); len(biocides) > 0 {
		var names []string
		for _, d := range biocides {
			names = append(names, cmp.Or(d.Family, d.Product, "family not known"))
		}
		words = append(words, "Holds a biocide ("+strings.Join(names, ", ")+"): no bare hands.")
	}
	if sealed {
		words = append(words, "Sealed: do not open.")
	}
	return append(words, "Add nothing else. Safety data sheet and local rules decide.")
}

// containerLabel is the label of a container on the shelf.
func (s *server) containerLabel(c loops.Container) (label, error) {
	settings := s.Workshop.Settings()
	l := label{Workshop: settings.Name, Phone: settings.Phone}
	lines := workshop.ContainerLabel(c)
	l.Big, l.Name, _ = strings.Cut(lines[0], ", ")
	for _, line := range lines[1:] {
		l.Lines = append(l.Lines, labelLine{"", minuses(line)})
	}
	if c.Fluid != "" { // its long caution is the last line: the label has the short words
		l.Lines = l.Lines[:len(l.Lines)-1]
		l.Cautions = labelCautions(loops.Charge{Fluid: c.Fluid}, false)
	}
	err := s.leadTo(&l, "/shelf/"+strconv.FormatUint(uint64(c.ID), 10))
	return l, err
}
