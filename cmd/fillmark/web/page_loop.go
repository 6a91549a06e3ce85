// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"net/http"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// loopPage is the card of one loop and everything on record about it.
type loopPage struct {
	frame
	Day     loops.Day
	Tag     loops.Tag
	Machine loops.Machine
	Loop    string // its own name; empty where the machine has one
	Owner   loops.Owner
	Build   string // how it is built, in one line
	Charge  string
	Level   string // what lacks to the fill mark; empty where nothing does
	Frost   frost
	Gauge   *gauge // nil where the freeze point is not known
	Curve   *curve // nil where there is no glycol in the loop
	Next    *loops.Task
	Over    int // days over of the next task
	Status  string
	History []historyLine
	Plan    []planTask
	Policy  string // version the plan was made from
	// Evidence is the version of what openings taught; zero for none.
	Evidence uint64
	Caution  []chemistry.Caution
	Form     *form
	Forms    loopForms
	Life     []lifePlot
	Read     []lifeRow
	Says     *workshop.Readings // what the readings say; nil where there are none
	// Empty tells that there is nothing in it to top up.
	Empty bool
	// Gone tells that it was taken out of service.
	Gone bool
}

// frost is the verdict on the freeze point against the coldest wall.
type frost struct {
	Verdict chemistry.Verdict
	Known   bool
	Point   chemistry.Celsius
	Plus    chemistry.CelsiusDelta // k = 2
	Says    string
}

// planTask is one task of the plan with every clause.
type planTask struct {
	loops.Task
	Over int
}

func (s *server) pageLoop(w http.ResponseWriter, r *http.Request) error {
	tag, err := tagOf(r)
	if err != nil {
		return err
	}
	if string(tag) != r.PathValue("tag") { // typed with blanks or hyphens
		http.Redirect(w, r, "/loops/"+string(tag), http.StatusFound)
		return nil
	}
	file, err := s.Workshop.File(tag)
	if err != nil {
		return err
	}
	p, err := s.loopPage(r, file, newForm(nil))
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "loop", p)
}

func (s *server) loopPage(r *http.Request, file workshop.File, f *form) (loopPage, error) {
	loop, charge := file.Loop, file.Loop.State.Charge
	p := loopPage{
		frame: s.newFrame(r, string(loop.Tag)+" "+file.Machine.Name),
		Day:   loops.DayOf(s.Now(), s.Workshop.Settings().Zone),
		Tag:   loop.Tag, Machine: file.Machine, Loop: loop.Name, Owner: file.Owner,
		Build: buildLine(loop.Construction), Charge: chargeLine(charge), Frost: frostOf(loop, file.Protection),
		Gauge: gaugeOf(file.Protection), Status: planStatus(loop), History: historyOf(file.History),
		Policy: loop.Plan.PolicyVersion, Evidence: loop.Plan.EvidenceVersion, Form: f, Read: lifeRows(file.History), Says: file.Readings, Empty: charge == nil, Gone: !loop.State.Retired.IsZero(),
	}
	p.Life = lifePlots(file.History, p.Read)
	f.offer("on", p.Day.String())
	var err error
	if p.Forms, err = s.loopForms(); err != nil {
		return p, err
	}
	p.Here = "loops"
	if loop.State.Missing > 0 {
		p.Level = quantity(loop.State.Missing) + " below the fill mark, seen on " + loop.State.MissingSeen.Long()
	}
	if tasks := workshop.NextTasks(loop.Plan); len(tasks) > 0 {
		p.Next, p.Over = &tasks[0], p.Day.Sub(tasks[0].Due)
	}
	for _, t := range loop.Plan.Tasks {
		p.Plan = append(p.Plan, planTask{t, p.Day.Sub(t.Due)})
	}
	if charge != nil {
		p.Curve = curveOf(*charge, file.Protection)
		p.Caution = chemistry.Cautions(charge.Contents())
	}
	return p, nil
}

// frostOf judges the freeze point: stop where it is not below the wall, care
// where it is known too little or only its middle is below.
func frostOf(loop loops.Loop, p *loops.Protection) frost {
	wall, cold := loop.Wall()
	measure := "Measure a sample before you rely on it."
	if loop.Sealed { // nobody opens a sealed loop for a sample
		measure = "Keep it from the cold, and measure when it is opened next."
	}
	switch {
	case loop.State.Charge == nil:
		return frost{Verdict: chemistry.Care, Says: "The loop is empty."}
	case p == nil && !cold:
		return frost{Verdict: chemistry.Go, Says: "The strength is not known, but no wall of this loop gets cold enough to matter."}
	case p == nil:
		return frost{Verdict: chemistry.Care, Says: "The strength is not known, and the coldest wall is at " + quantity(wall) + ". " + measure}
	}
	f := frost{Known: true, Verdict: chemistry.Go, Point: p.FreezePoint, Plus: p.Uncertainty}
	warm := quantity(p.FreezePoint.Add(p.Uncertainty))
	switch {
	case p.Wall == nil:
		f.Says = "No coldest wall is on record, so frost is not a concern for this loop."
	case p.Holds:
		f.Says = "First ice at " + warm + " at the warmest, colder than the coldest wall at " + quantity(wall) + "."
	case p.FreezePoint < wall:
		f.Verdict, f.Says = chemistry.Care, "First ice may come at "+warm+", and the coldest wall is at "+quantity(wall)+". "+measure
	default:
		f.Verdict, f.Says = chemistry.Stop, "The coldest wall is at "+quantity(wall)+": the liquid can freeze there. Keep it from the cold until the strength is put right."
	}
	return f
}

// chargeLine says in one line what is in a loop.
func chargeLine(c *loops.Charge) string {
	if c == nil {
		return "empty"
	}
	var parts []string
	switch {
	case !c.Fluid.IsGlycol():
		parts = append(parts, c.Fluid.Name())
	case c.Mass == nil:
		parts = append(parts, c.Fluid.Name()+" in water, strength not known")
	default:
		parts = append(parts, strength(*c.Mass, c.MassUncertainty)+" "+c.Fluid.Name()+" in water")
	}
	if c.Volume > 0 {
		parts = append(parts, quantity(c.Volume))
	}
	switch i := chemistry.Inhibitor(c.Inhibitor.Family); i {
	case "":
	case chemistry.NoInhibitor:
		parts = append(parts, "no inhibitor")
	default:
		parts = append(parts, "inhibitor "+i.Name())
	}
	switch b := chemistry.Biocide(c.Biocide.Family); b {
	case "":
	case chemistry.NoBiocide:
		parts = append(parts, "no biocide")
	default:
		parts = append(parts, "biocide "+b.Name())
	}
	return strings.Join(append(parts, filledWords(*c)), ", ")
}

// strength is a glycol mass fraction with its uncertainty (k = 2).
func strength(mass, plusMinus chemistry.MassFraction) string {
	text := fmt.Sprintf("%.1f", mass.Percent())
	if plusMinus > 0 {
		text += fmt.Sprintf(" ± %.1f", plusMinus.Percent())
	}
	return text + "\u00a0mass\u00a0%"
}

func filledWords(c loops.Charge) string {
	by := map[loops.Origin]string{loops.Factory: " by the factory", loops.WorkshopFill: " by the workshop"}[c.Origin]
	switch {
	case c.FilledFrom == c.FilledTo:
		return "filled on " + c.FilledTo.Long() + by
	case c.FilledFrom.IsZero():
		return "filled on " + c.FilledTo.Long() + " or earlier" + by
	}
	return "filled between " + c.FilledFrom.Long() + " and " + c.FilledTo.Long() + by
}

// buildLine says in one line how a loop is built.
func buildLine(c loops.Construction) string { return strings.Join(workshop.BuiltWords(c), "; ") }
