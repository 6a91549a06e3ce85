// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/drawing"
	"fillmark/loops"
	"fillmark/schedule"
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
	Gauge   *gauge         // nil where the freeze point is not known
	Curve   *drawing.Curve // nil where there is no glycol in the loop
	Next    *loops.Task
	// Judged is what a change of the record has just made of the charge; nil
	// where nothing was changed that its verdict hangs on.
	Judged  *workshop.Judgement
	Over    int // days over of the next task
	Status  string
	History []historyLine
	Plan    []planTask
	Policy  string // version the plan was made from
	Caution []chemistry.Caution
	Acts    actForms
	// Containers are those that a dose can come from.
	Containers []choice
	Life       []drawing.Life
	Read       []drawing.LifeRow
	Afar       *drawing.Life      // since the proof, by answers and logs; nil where they told nothing
	Says       *schedule.Readings // what the readings say; nil where there are none
	// Asks are what nobody knows of it yet; Dial calls its owner.
	Asks []string
	Dial template.URL
	// Empty tells that there is nothing in it to top up.
	Empty bool
	// Gone tells that it was taken out of service.
	Gone bool
}

// loopFold is the form of an act that a loop's page has folded away.
type loopFold struct {
	Form                 *actForm
	Heading, Enter, Says string
	Second               bool     // what it does is not done every day
	From                 []choice // the containers that it can come from; nil where that is not asked
}

// Folds are what can be done to the loop as it is.
func (p loopPage) Folds() ([]loopFold, error) {
	daily, filled, rare, told := true, !p.Empty, !p.Gone, len(p.History) > 0
	var all []loopFold
	for _, x := range []struct {
		act   string
		shown bool
		fold  loopFold
	}{
		{"readings", daily, loopFold{Heading: "Enter readings", Enter: "Enter the readings"}},
		{"dose", filled, loopFold{Heading: "Enter a dose", Enter: "Enter the dose", From: p.Containers,
			Says: "Give the dose that the label names; none is suggested here."}},
		{"plan", filled, loopFold{Heading: "Change a task's plan", Enter: "Save the plan"}},
		{"weigh", daily, loopFold{Heading: "Enter a weight", Enter: "Enter the weight"}},
		{"call", daily, loopFold{Heading: "Write down a call", Enter: "Write it down"}},
		{"note", daily, loopFold{Heading: "Write a note", Enter: "Write it down"}},
		{"swap", rare, loopFold{Heading: "Fit another cooler", Enter: "Enter the swap", Second: true,
			Says: "The life of the old charge ends; what the new loop is made of is asked again. For an air cooler take the loop out of service."}},
		{"transfer", rare, loopFold{Heading: "It goes to another owner", Enter: "Enter the new owner", Second: true}},
		{"retire", rare, loopFold{Heading: "Take it out of service", Enter: "Take it out of service", Second: true,
			Says: "Its plan ends; openings can still be entered. What a replacement claims is noted: a load test decides."}},
		{"strike", told, loopFold{Heading: "Strike out an entry that is wrong", Enter: "Strike it out", Second: true}},
	} {
		if !x.shown {
			continue
		}
		var err error
		if x.fold.Form, err = p.Acts.Of(x.act); err != nil {
			return nil, err
		}
		all = append(all, x.fold)
	}
	return all, nil
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
	file, err := s.Workshop.FileAtShelf(tag)
	if err != nil {
		return err
	}
	p, err := s.loopPage(r, file, nil)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "loop", p)
}

func (s *server) loopPage(r *http.Request, file workshop.File, sent *actForm) (loopPage, error) {
	loop, charge := file.Loop, file.Loop.State.Charge
	p := loopPage{
		frame: s.newFrame(r, string(loop.Tag)+" "+file.Machine.Name),
		Day:   loops.DayOf(s.Now(), s.Workshop.Settings().Zone),
		Tag:   loop.Tag, Machine: file.Machine, Loop: loop.Name, Owner: file.Owner,
		Build: buildLine(loop.Construction), Charge: chargeLine(loop.State), Frost: frostOf(loop, file.Protection),
		Status: planStatus(loop), History: historyOf(file.History),
		Policy: loop.Plan.PolicyVersion, Read: drawing.LifeRows(file.History), Says: file.Readings,
		Asks: loop.NotKnownYet(), Dial: phoneLink(file.Owner.Phone), Empty: charge == nil, Gone: !loop.State.Retired.IsZero(),
	}
	p.Gauge = gaugeOf(p.spoken, file.Protection)
	p.Life, p.Afar = drawing.LifePlots(file.History, p.Read), drawing.AfarPlot(file.History)
	p.Acts = s.actForms(file, "loop", sent)
	if r.URL.Query().Has("judged") && charge != nil { // a change of the record led here
		judged := file.Judged()
		p.Judged = &judged
	}
	var err error
	if p.Containers, err = s.containerChoices(file); err != nil {
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
		p.Curve = drawing.CurveOf(*charge, file.Protection)
		p.Caution = chemistry.Cautions(charge.Contents())
	}
	return p, nil
}

// notKnown stands where a verdict would rest on a blank.
const notKnown chemistry.Verdict = "unknown"

// frostOf judges the freeze point: stop where it is not below the wall, care
// where only its middle is, and not known where the strength or the wall is not.
func frostOf(loop loops.Loop, p *loops.Protection) frost {
	wall, cold := loop.Wall()
	measure := "Measure a sample."
	if loop.Sealed { // nobody opens a sealed loop for a sample
		measure = "Keep it from the cold, and measure the next time it is opened."
	}
	f := frost{Known: p != nil, Verdict: chemistry.Go}
	if p != nil {
		f.Point, f.Plus = p.FreezePoint, p.Uncertainty
	}
	switch {
	case loop.State.Charge == nil && !loop.State.Empty.IsZero():
		f.Verdict, f.Says = chemistry.Care, "The loop is empty."
	case loop.State.Charge == nil:
		f.Verdict, f.Says = notKnown, "Nobody wrote down what is in it. Measure a drop, or drain, rinse and fill it."
	case loop.NoFrost:
		f.Says = "Nothing in it can freeze, in use, stored or on the way."
	case p == nil && cold:
		f.Verdict, f.Says = notKnown, "The strength is not known, and the coldest wall is at "+quantity(wall)+". "+measure
	case p == nil:
		f.Verdict, f.Says = notKnown, "The strength is not known. "+measure
	case p.Wall == nil:
		f.Verdict, f.Says = notKnown, "How cold its coldest wetted wall gets is not known. Measure or ask: in use, stored and on the way; write it in the loop's record."
	case p.Holds:
		f.Says = "First ice at " + quantity(p.WarmEnd()) + " at the warmest, colder than the coldest wall at " + quantity(wall) + loop.ColdestWallKnown.Mark() + "."
	case p.FreezePoint < wall:
		f.Verdict, f.Says = chemistry.Care, "First ice may come at "+quantity(p.WarmEnd())+", and the coldest wall is at "+quantity(wall)+loop.ColdestWallKnown.Mark()+". "+measure
	default:
		f.Verdict, f.Says = chemistry.Stop, "The coldest wall is at "+quantity(wall)+loop.ColdestWallKnown.Mark()+": the liquid can freeze there. Keep it from the cold until the strength is put right."
	}
	return f
}

// Word is the verdict as it is read.
func (f frost) Word() string {
	if f.Verdict == notKnown {
		return string(loops.NotKnown)
	}
	return string(f.Verdict)
}

// chargeLine says in one line what is in a loop.
func chargeLine(state loops.State) string {
	c := state.Charge
	switch {
	case c == nil && !state.Empty.IsZero():
		return "empty, drained on " + state.Empty.Long()
	case c == nil:
		return "what is in it is not known"
	}
	parts := []string{strengthLine(*c)}
	if held := state.Held(); held > 0 {
		parts = append(parts, quantity(held))
	}
	for _, a := range c.Additives {
		parts = append(parts, a.String())
	}
	return strings.Join(append(parts, filledWords(*c)), ", ")
}

// strengthLine says fluid and fraction with its basis, and how it is known.
func strengthLine(c loops.Charge) string {
	switch {
	case !c.Fluid.IsGlycol():
		return c.Fluid.Name()
	case c.Mass == nil:
		return c.Fluid.Name() + " in water, strength not known"
	}
	return strength(*c.Mass, c.MassUncertainty) + c.MassKnown.Mark() + " " + c.Fluid.Name() + " in water"
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
func buildLine(c loops.Construction) string {
	return minuses(strings.Join(c.Words(), "; "))
}
