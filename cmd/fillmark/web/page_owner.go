// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/notify/words"
)

// ownerPage is what an owner sees through the link in a mail.
type ownerPage struct {
	frame
	Heading  string
	Machines []ownerMachine
	Answered *ownerAnswer // what they told us last; nil before
	Open     bool         // they are asked to look something over now
	Due      bool         // anything is open, the workshop's tasks among it
	// Pressed is the answer whose button in a mail led here: the page is about it,
	// and everything else stands below. Empty for none.
	Pressed string
	// OffFirst puts "something is off" above "all looks fine", CallFirst "call me"
	// above both.
	OffFirst, CallFirst bool
	// About are the machines that an answer can be about, where there are
	// several; none for one.
	About []choice
	// Mail tells whether reminders are mailed; MailAsked whether they may be.
	Mail, MailAsked bool
	MailStopped     loops.Day
	// Calendar is the address of the owner's feed; empty where nothing comes.
	Calendar string
	Wet      []string
	Cautions []string
	// Notices are what can be ticked beside "something is off": what shows on one
	// machine at least.
	Notices []ownerNotice
	// Form is what was typed of temperatures, in Unit; Ran are the choices of what
	// the machine did.
	Form *form
	Unit string
	Ran  []choice
	// Log is where a log is sent; empty where they have no machine.
	Log string
	// Later opens the answers that name a day, where one of them was not taken;
	// Tomorrow is the first day that can be named, Fortnight one of two weeks.
	Later               bool
	Tomorrow, Fortnight loops.Day
	// Problem says what is wrong with what was typed, Words what that was.
	Problem string
	Words   string
	// PhotoLost tells that a photo must be chosen again.
	// PhotoNote says why the photo of an answer that is on record is not.
	PhotoNote string
	PhotoLost bool
}

// ownerNotice is a box to tick.
type ownerNotice struct {
	Notice loops.Notice
	Says   string
	On     bool
}

// ownerMachine is one loop of theirs in plain words.
type ownerMachine struct {
	spoken
	Name string
	Loop string // empty where the machine has one
	Tag  loops.Tag
	Says string // how it stands
	Runs string // how it runs against the day it was given back; empty where nothing says so
	// Conditions stand against it, the worst first, each with its caution.
	Conditions []string
	// Now is what is due already; Next is what comes, a day that has not passed.
	Now, Next ownerTask
	Steps     []string
	Leave     []string
	// Sealed chooses the drawings; Look tells that it is the owner who looks.
	Sealed, Look bool
}

// ownerTask is a task in plain words; the zero value is none.
type ownerTask struct {
	What string
	Why  string // why it is due then, as owners read it
	Due  loops.Day
	Over int
}

// ownerAnswer is an answer that is on record.
type ownerAnswer struct {
	Said    string // the answer, without what was ticked
	Off     bool
	Day     loops.Day
	Noticed []string // what was ticked
	Words   string
	Photo   string // hash; empty where none came with it
	Wet     bool   // they saw something wet, so that what to do then comes first
}

// maxToken is more than any link's token has, so that what the throttle
// remembers stays small.
const maxToken = 200

// ownerLink opens the link in the path, as often as a person would.
func (s *server) ownerLink(r *http.Request, purpose links.Purpose) (loops.Owner, error) {
	token := r.PathValue("token")
	if len(token) > maxToken {
		return loops.Owner{}, links.ErrInvalid
	}
	if err := s.throttles.linkFrom.take(visitOf(r).neighbourhood(), s.Now()); err != nil {
		return loops.Owner{}, err
	}
	if err := s.throttles.linkOf.take(token, s.Now()); err != nil {
		return loops.Owner{}, err
	}
	return s.Workshop.OwnerOf(purpose, token, s.Now())
}

// ownerStamp is an owner's own deed: their link is who they are.
func (s *server) ownerStamp() workshop.Stamp { return workshop.Stamp{At: s.Now().UTC(), By: "owner"} }

func (s *server) pageOwner(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Owner)
	if err != nil {
		return err
	}
	p, err := s.ownerPage(r, owner)
	if err != nil {
		return err
	}
	came := r.URL.Query().Get("answer")
	if len(p.Machines) > 0 && slices.Contains(pressable(), came) {
		p.Pressed = came
	}
	p.OffFirst, p.CallFirst = came == "off", came == "call" || came == "" && p.Due && !p.Open
	return s.render(w, http.StatusOK, "owner", p)
}

// pressable are the answers that a link can lead to, each with a form of its own
// on the page.
func pressable() []string { return []string{"fine", "off", "call"} }

func (s *server) ownerPage(r *http.Request, owner loops.Owner) (ownerPage, error) {
	files, err := s.Workshop.OwnersFiles(owner.ID)
	if err != nil {
		return ownerPage{}, err
	}
	now, in := s.Now(), s.spokenTo(owner)
	reach := reachOf(in.words, s.Workshop.Settings())
	p := ownerPage{
		Heading: in.Say("page.heading"), Answered: lastAnswer(in.words, files), Mail: owner.MayMail(),
		MailAsked: owner.Email != "" && owner.Consent.Mail, MailStopped: owner.MailStopped,
	}
	today := s.Workshop.DayOf(owner, now)
	p.Tomorrow, p.Fortnight = today.AddDays(1), today.AddDays(14)
	for _, f := range files {
		open := s.Workshop.OpenTasks(f.Loop, today)
		paused := f.Loop.State.AskedFor == loops.Pause || f.Loop.State.QuietUntil.After(today)
		look := slices.Contains(open, loops.Look) && !loops.KeptOff(f.Loop.State.Conditions())
		p.Open, p.Due = p.Open || look, p.Due || len(open) > 0 && !paused
		machine, guide := ownerMachineOf(in, f, open, today, reach)
		p.Machines = append(p.Machines, machine)
		if f.Loop.State.Charge == nil {
			continue
		}
		p.Wet = fullest(p.Wet, guide.Wet)
	}
	p.Cautions = ownersCautions(files, owner.Units)
	for _, n := range loops.Notices(!slices.ContainsFunc(files, func(f workshop.OwnersFile) bool { return !f.Loop.Sealed })) {
		p.Notices = append(p.Notices, ownerNotice{Notice: n, Says: loops.Capital(in.words.Recorded(string(n)))})
	}
	if len(p.Machines) == 1 {
		p.Heading = p.Machines[0].Name
	} else {
		p.About = aboutChoices(in, p.Machines)
	}
	if slices.ContainsFunc(p.Machines, func(m ownerMachine) bool { return m.Now.What+m.Next.What != "" }) {
		p.Calendar = s.Workshop.CalendarPath(owner, now)
	}
	p.frame = s.newFrame(r, p.Heading)
	p.spoken = in
	p.Form, p.Unit = newForm(nil), unitOf(owner.Units)
	for _, ran := range loops.RanAll() {
		p.Ran = append(p.Ran, choice{Value: string(ran), Label: in.words.Recorded(ran.Sentence())})
	}
	if len(p.Machines) > 0 {
		p.Log = "/o/" + r.PathValue("token") + "/log"
	}
	return p, nil
}

// aboutChoices lists what an answer can be about: all, or one machine.
func aboutChoices(in spoken, machines []ownerMachine) []choice {
	all := []choice{{Label: in.Say("page.about.all")}}
	for _, m := range machines {
		label := m.Name
		if m.Loop != "" {
			label += " (" + m.Loop + ")"
		}
		all = append(all, choice{Value: string(m.Tag), Label: label})
	}
	return all
}

// reachOf says on the page of a mail's link how the workshop is reached.
func reachOf(ws words.Words, settings workshop.Settings) string {
	if settings.Phone != "" {
		return ws.Say("reach.call", settings.Phone)
	}
	return ws.Say("page.reach.mail")
}

// ownersCautions are what is in the loops can do, in the owner's words and units.
func ownersCautions(files []workshop.OwnersFile, units loops.Units) []string {
	texts := workshop.OwnerCautions(files)
	for i, text := range texts {
		texts[i] = notify.InOwnersUnits(text, units)
	}
	return texts
}

// ownerMachineOf says in plain words how a loop stands and what to do.
func ownerMachineOf(in spoken, f workshop.OwnersFile, open []loops.TaskKind, today loops.Day, reach string) (ownerMachine, notify.Guide) {
	m := ownerMachine{spoken: in, Name: f.Machine.Name, Loop: f.Loop.Name, Tag: f.Loop.Tag, Says: in.Say(standing(f, open))}
	var fluid chemistry.Fluid
	if c := f.Loop.State.Charge; c != nil {
		fluid = c.Fluid
	}
	// What is asked of the owner is the look wherever one is open; all else is
	// done in the workshop.
	asked := loops.Look
	tasks := workshop.NextTasks(f.Loop.Plan)
	if len(tasks) > 0 && tasks[0].Due.Before(today) {
		m.Now = ownersTask(in.words, tasks[0], today)
	}
	if coming := comingTask(tasks, today); coming != nil {
		m.Next = ownersTask(in.words, *coming, today)
	}
	if len(open) > 0 && !slices.Contains(open, loops.Look) {
		asked = open[0]
	}
	guide := notify.GuideFor(in.words, asked, f.Machine.Kind, f.Loop.Sealed, fluid, reach)
	m.Runs = in.words.Recorded(f.RunsNow())
	conditions := conditionsOf(f.Loop.State)
	m.Conditions = notify.ConditionsForOwner(in.words, conditions)
	if f.Loop.State.InService() && !loops.KeptOff(conditions) {
		m.Steps, m.Leave, m.Sealed, m.Look = guide.Steps, guide.Leave, f.Loop.Sealed, asked == loops.Look
	}
	return m, guide
}

func ownersTask(ws words.Words, t loops.Task, today loops.Day) ownerTask {
	return ownerTask{What: ws.Recorded(taskForOwner(t.Kind)), Why: ws.Recorded(t.Binding().ForOwner()), Due: t.Due, Over: today.Sub(t.Due)}
}

// conditionsOf are those of a machine that its owner has; of one on the bench
// they are the workshop's matter.
func conditionsOf(state loops.State) []loops.Condition {
	if state.HandedOver.IsZero() && state.ReturnedAsIs.IsZero() {
		return nil
	}
	return state.Conditions()
}

// standing is the id of one sentence on how a loop stands, without jargon.
func standing(f workshop.OwnersFile, open []loops.TaskKind) string {
	state := f.Loop.State
	switch {
	case !state.Retired.IsZero():
		return "page.stands.retired"
	case state.HandedOver.IsZero() && state.ReturnedAsIs.IsZero():
		return "page.stands.here"
	case loops.KeptOff(conditionsOf(state)):
		return "page.stands.off"
	case !state.ReturnedAsIs.IsZero():
		return "page.stands.as-it-is"
	case !state.Concern.IsZero():
		return "page.stands.concern"
	case f.Protection != nil && !f.Protection.Holds:
		return "page.stands.freezes"
	case slices.Contains(open, loops.Look):
		return "page.stands.look"
	case len(open) > 0:
		return "page.stands.work"
	}
	return "page.stands.well"
}

// taskForOwner names a task as owners know it.
func taskForOwner(kind loops.TaskKind) string {
	about, _ := loops.AboutTask(kind)
	return about.OwnerThen
}

// fullest keeps of texts that begin alike the one that says most.
func fullest(texts []string, text string) []string {
	for i, other := range texts {
		if strings.HasPrefix(other, text) {
			return texts
		}
		if strings.HasPrefix(text, other) {
			texts[i] = text
			return texts
		}
	}
	return append(texts, text)
}
