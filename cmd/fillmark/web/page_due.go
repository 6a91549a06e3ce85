// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"html/template"
	"net/http"
	"sync"
	"time"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// duePage is what the workshop has before it.
type duePage struct {
	frame
	Day               loops.Day
	Groups            []dueGroup // those that have lines
	Call              []callLine
	Notices           []loops.EvidenceNotice
	CallMore          int // how many further calls are not shown
	Overdue           int
	MailReachesOwners bool
	MailTrouble       string // that no mail leaves, and why; empty while it does
	// Next is said where nothing is overdue or due today; nil where nothing
	// is planned at all.
	Next *nextLine
	// Quiet tells that nothing is overdue and nothing due today.
	Quiet bool
}

// dueGroup is one ruled group of tasks.
type dueGroup struct {
	Heading string
	Rule    string // the rule under it: stop, care or go
	// Folded tells that the group is opened when it is asked for.
	Folded bool
	Tasks  int
	Last   loops.Day
	Loops  []dueLoop
	More   int // how many further tasks are not shown
}

// dueLoop is what one loop has in a group: one visit does all of it.
type dueLoop struct {
	Tag            loops.Tag
	Machine, Owner string
	Lines          []workshop.Line
}

// newDueGroup puts the tasks of each loop together, the loop where its first
// one stood.
func newDueGroup(heading, rule string, lines []workshop.Line) dueGroup {
	g := dueGroup{Heading: heading, Rule: rule, Tasks: len(lines), More: max(0, len(lines)-maxLines)}
	at := map[loops.Tag]int{}
	for _, l := range lines[:len(lines)-g.More] {
		i, ok := at[l.Tag]
		if !ok {
			i = len(g.Loops)
			at[l.Tag] = i
			g.Loops = append(g.Loops, dueLoop{Tag: l.Tag, Machine: l.Machine, Owner: l.Owner})
		}
		g.Loops[i].Lines = append(g.Loops[i].Lines, l)
		g.Last = l.Due
	}
	return g
}

// maxLines is how many tasks of a group the page shows: more than anybody
// does in a day.
const maxLines = 40

// dueCache keeps the list while nothing is written and the day lasts: many
// look at it, and few write. The zero value is empty.
type dueCache struct {
	mu       sync.Mutex
	revision loops.StoreRevision
	kept     *dueKept
}

// dueKept is the technician's list at one state of the register, for reading
// only, and the page as each technician has seen it.
type dueKept struct {
	list  workshop.DueList
	calls []workshop.Call
	pages sync.Map // from the technician's name to the page as []byte
}

// due returns the list as it is now. Those who ask at once wait for one that
// reads.
func (s *server) due(now time.Time) (*dueKept, error) {
	c := &s.cache
	c.mu.Lock()
	defer c.mu.Unlock()
	// Before the list is read: a write meanwhile makes it outdated, not wrong.
	revision, err := s.Reader.Revision()
	if err != nil {
		return nil, err
	}
	if c.kept != nil && c.revision == revision && c.kept.list.Day == loops.DayOf(now, s.Workshop.Settings().Zone) {
		return c.kept, nil
	}
	list, err := s.Workshop.Due(now)
	if err != nil {
		return nil, err
	}
	c.revision, c.kept = revision, &dueKept{list: list, calls: workshop.Calls(list.Call)}
	return c.kept, nil
}

// callLine is an owner to call, with the number as a phone dials it.
type callLine struct {
	workshop.Call
	Link template.URL
	More int // how many further tasks it is about
}

// maxAbout is how many tasks of one call the page shows.
const maxAbout = 8

func callLineOf(c workshop.Call) callLine {
	line := callLine{Call: c, Link: phoneLink(c.Phone), More: max(0, len(c.About)-maxAbout)}
	line.About = c.About[:len(c.About)-line.More]
	return line
}

// nextLine is the task that comes next.
type nextLine struct {
	Tag     loops.Tag
	Machine string
	Task    loops.TaskKind
	Due     loops.Day
	Over    int // days over; negative before the day
	Why     string
}

// nextOn describes a task on a day.
func nextOn(tag loops.Tag, machine string, t loops.Task, today loops.Day) *nextLine {
	return &nextLine{tag, machine, t.Kind, t.Due, today.Sub(t.Due), schedule.Reason(t)}
}

// dueReader is what a kept page was made for, beside the register.
type dueReader struct {
	signedIn string
	trouble  string
}

func (s *server) pageDue(w http.ResponseWriter, r *http.Request) error {
	kept, err := s.due(s.Now())
	if err != nil {
		return err
	}
	f := s.newFrame(r, "Due")
	is := dueReader{f.SignedIn, s.mailTrouble()}
	if page, ok := kept.pages.Load(is); ok {
		writePage(w, http.StatusOK, page.([]byte))
		return nil
	}
	p, err := s.duePage(f, kept)
	if err != nil {
		return err
	}
	p.MailTrouble = is.trouble
	page, err := s.rendered("due", p)
	if err != nil {
		return err
	}
	kept.pages.Store(is, page)
	writePage(w, http.StatusOK, page)
	return nil
}

func (s *server) duePage(f frame, kept *dueKept) (duePage, error) {
	list := kept.list
	p := duePage{
		frame: f, Day: list.Day, Overdue: len(list.Overdue), Notices: list.Notices,
		MailReachesOwners: s.MailReachesOwners, Quiet: len(list.Overdue)+len(list.Today) == 0,
	}
	p.Here = "due"
	p.CallMore = max(0, len(kept.calls)-maxLines)
	for _, c := range kept.calls[:len(kept.calls)-p.CallMore] {
		p.Call = append(p.Call, callLineOf(c))
	}
	later := newDueGroup("Later", "go", list.Later)
	later.Folded = true
	for _, g := range []dueGroup{
		newDueGroup("Overdue", "stop", list.Overdue), newDueGroup("Today", "care", list.Today),
		newDueGroup("This week", "care", list.Week), later,
	} {
		if g.Tasks > 0 {
			p.Groups = append(p.Groups, g)
		}
	}
	var err error
	if p.Quiet {
		p.Next, err = s.nextOf(list)
	}
	return p, err
}

// nextOf finds what comes next: on the list, or beyond it in the register.
func (s *server) nextOf(list workshop.DueList) (*nextLine, error) {
	for _, group := range [][]workshop.Line{list.Week, list.Later} {
		if len(group) > 0 {
			l := group[0]
			return &nextLine{l.Tag, l.Machine, l.Task, l.Due, l.OverdueDays, l.Reason}, nil
		}
	}
	var next *nextLine
	var of loops.MachineID
	for loop, err := range s.Reader.Loops() {
		if err != nil {
			return nil, err
		}
		tasks := workshop.NextTasks(loop.Plan)
		if len(tasks) > 0 && (next == nil || tasks[0].Due.Before(next.Due)) {
			next, of = nextOn(loop.Tag, "", tasks[0], list.Day), loop.Machine
		}
	}
	if next == nil {
		return nil, nil
	}
	machine, err := s.Reader.Machine(of)
	next.Machine = machine.Name
	return next, err
}
