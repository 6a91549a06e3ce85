// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// duePage is what the workshop has before it: people to deal with.
type duePage struct {
	frame
	Day               loops.Day
	Groups            []dueGroup // those that have lines
	Notices           []loops.EvidenceNotice
	Overdue           int
	MailReachesOwners bool
	Pager             pager
	Alarms            []loops.Alarm // what the program cannot do
	House             []doctor.Line
	// Next is said where nothing is overdue or due today; nil where nothing
	// is planned at all.
	Next *nextLine
	// Quiet tells that nothing is overdue and nothing due today.
	Quiet bool
	// Called is what was just written down from this page; nil where nothing was.
	Called *calledNotice
}

// dueGroup is one ruled group of people.
type dueGroup struct {
	ID, Heading string
	Rule        string // the rule under it: stop, care or go
	// Folded tells that the group is opened when it is asked for.
	Folded bool
	Tasks  int
	Last   loops.Day
	People []duePerson
}

// personKey is an owner, or the loop of a machine that has none.
type personKey struct {
	owner loops.OwnerID
	tag   loops.Tag
}

func personOf(l schedule.Line) personKey {
	if l.OwnerID == 0 {
		return personKey{tag: l.Tag}
	}
	return personKey{owner: l.OwnerID}
}

// ID tells one of them from the others on the page, and in its address.
func (k personKey) ID() string {
	if k.owner == 0 {
		return "loop-" + string(k.tag)
	}
	return fmt.Sprint("owner-", k.owner)
}

// personNamed reads an ID; what is none names nobody on the list.
func personNamed(id string) personKey {
	if number, ok := strings.CutPrefix(id, "owner-"); ok {
		owner, _ := ownerID(number) // zero where it is none
		return personKey{owner: owner}
	}
	return personKey{tag: loops.Tag(strings.TrimPrefix(id, "loop-"))}
}

// duePerson is an owner and what their machines have on the list: one call, or
// one visit, does all of it. They stand once, where their first task puts them.
type duePerson struct {
	personKey
	group, tasks          int
	More                  int // of their tasks, which are not on this page
	Owner, Phone, Address string
	OwnerID               loops.OwnerID
	Dial                  template.URL
	Call                  []string  // why a person must call, a reason each
	Mailed                []string  // what was mailed about it, and what became of that
	Letter                loops.Tag // of the first loop that a printed letter can go about instead; or empty
	Loops                 []dueLoop
	Key                   string    // of the form that writes down a call
	From                  string    // the first day that can be agreed on
	Soon                  []soonDay // days that one press agrees on
	Page                  int       // of the list, to come back to
}

// soonDay is a day so near that its words go without the year.
type soonDay struct {
	Day   loops.Day
	Words string
}

// dueLoop is what one loop has in a group.
type dueLoop struct {
	Tag     loops.Tag
	Machine string
	Lines   []schedule.Line
	Page    int // of the list, to come back to
}

// perDuePage is with how many tasks a page of the list is full, and how many of one
// person it shows: more than anybody does in a day.
const perDuePage = 40

// people gathers what the machines of those to be shown have on the list, each as
// much as a page holds, or whole; who is not on the list is not shown.
func people(groups [][]schedule.Line, show []personKey, whole bool) []duePerson {
	wanted := map[personKey]bool{}
	for _, k := range show {
		wanted[k] = true
	}
	var all []duePerson
	at := map[personKey]int{}
	for group, lines := range groups {
		for _, l := range lines {
			k := personOf(l)
			if !wanted[k] {
				continue
			}
			i, met := at[k]
			if !met {
				i, at[k] = len(all), len(all)
				all = append(all, duePerson{personKey: k, group: group, Owner: l.Owner, OwnerID: l.OwnerID, Phone: l.Phone, Address: l.Address, Dial: phoneLink(l.Phone)})
			}
			if all[i].tasks == perDuePage && !whole {
				all[i].More++
				continue
			}
			all[i].add(l)
		}
	}
	return all
}

// pagesOf parts the people on the list, in the order of their first tasks, into
// pages: one ends with who fills it, and nobody stands on two. Machines without an
// owner stand each for itself. Who comes up to after stands on none.
func pagesOf(groups [][]schedule.Line, after personKey) [][]personKey {
	tasks := map[personKey]int{}
	var order []personKey
	for _, lines := range groups {
		for _, l := range lines {
			k := personOf(l)
			if tasks[k]++; tasks[k] == 1 {
				order = append(order, k)
			}
		}
	}
	var pages [][]personKey
	shown := perDuePage
	for _, k := range order[slices.Index(order, after)+1:] {
		if shown >= perDuePage {
			pages, shown = append(pages, nil), 0
		}
		last := &pages[len(pages)-1]
		*last = append(*last, k)
		shown += min(tasks[k], perDuePage)
	}
	return pages
}

// Map shows where they live, in whatever shows maps on the device (RFC 5870).
func (p duePerson) Map() template.URL {
	return template.URL("geo:0,0?q=" + url.PathEscape(p.Address))
}

func (p *duePerson) add(l schedule.Line) {
	n := slices.IndexFunc(p.Loops, func(x dueLoop) bool { return x.Tag == l.Tag })
	if n < 0 {
		n = len(p.Loops)
		p.Loops = append(p.Loops, dueLoop{Tag: l.Tag, Machine: l.Machine})
	}
	p.Loops[n].Lines = append(p.Loops[n].Lines, l)
	p.tasks++
}

// callFor puts onto a person why they are to be called about what stands there.
func (p *duePerson) callFor(calls []schedule.CallLine) {
	for _, c := range calls {
		here := slices.ContainsFunc(p.Loops, func(l dueLoop) bool {
			return l.Tag == c.Tag && slices.ContainsFunc(l.Lines, func(x schedule.Line) bool { return x.Task == c.Task && x.Due == c.Due })
		})
		if !here {
			continue
		}
		if !slices.Contains(p.Call, c.Why) {
			p.Call = append(p.Call, c.Why)
		}
		if c.Evidence != "" && !slices.Contains(p.Mailed, c.Evidence) {
			p.Mailed = append(p.Mailed, c.Evidence)
		}
		if c.Letter && p.Letter == "" {
			p.Letter = c.Tag
		}
	}
}

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
	calls map[loops.OwnerID][]schedule.CallLine
	pages sync.Map // from [dueSeen] to the page as []byte
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
	c.revision, c.kept = revision, &dueKept{list: list, calls: map[loops.OwnerID][]schedule.CallLine{}}
	for _, call := range list.Call {
		c.kept.calls[call.OwnerID] = append(c.kept.calls[call.OwnerID], call)
	}
	return c.kept, nil
}

// dueSeen is a page of the list as one technician sees it, and what stands on it
// beside the register.
type dueSeen struct{ technician, page, alarms string }

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

func (s *server) pageDue(w http.ResponseWriter, r *http.Request) error {
	kept, err := s.due(s.Now())
	if err != nil {
		return err
	}
	red := s.red()
	f, seen := s.newFrame(r, "Due"), dueSeen{page: r.URL.Query().Get("page"), alarms: fmt.Sprint(red)}
	seen.technician = f.SignedIn
	house := s.houseTrouble() // its sentences change with every minute: not for keeping
	query := r.URL.Query()
	fresh := query.Has("called") || query.Has("of") || query.Has("after") || len(house) > 0
	if page, ok := kept.pages.Load(seen); ok && !fresh {
		writePage(w, http.StatusOK, page.([]byte))
		return nil
	}
	p, err := s.duePage(f, query, kept)
	if err != nil {
		return err
	}
	p.Alarms, p.House = red, house
	if fresh {
		return s.render(w, http.StatusOK, "due", p)
	}
	page, err := s.rendered("due", p)
	if err != nil {
		return err
	}
	if p.Pager.isAsked(seen.page) { // else anybody could have it kept under any name
		kept.pages.Store(seen, page)
	}
	writePage(w, http.StatusOK, page)
	return nil
}

func (s *server) duePage(f frame, query url.Values, kept *dueKept) (duePage, error) {
	list := kept.list
	p := duePage{
		frame: f, Day: list.Day, Overdue: len(list.Overdue), Notices: list.Notices,
		MailReachesOwners: s.MailReachesOwners, Quiet: len(list.Overdue)+len(list.Today) == 0,
	}
	p.Here = "due"
	var err error
	if p.Called, err = s.calledNotice(query["called"]); err != nil {
		return p, err
	}
	groups := []dueGroup{
		{ID: "overdue", Heading: "Overdue", Rule: "stop"}, {ID: "today", Heading: "Today", Rule: "care"},
		{ID: "week", Heading: "This week", Rule: "care"}, {ID: "later", Heading: "Later", Rule: "go", Folded: true},
	}
	lines := [][]schedule.Line{list.Overdue, list.Today, list.Week, list.Later}
	var show []personKey
	p.Pager, show = duePager(query, lines)
	if query.Has("of") {
		show, p.Pager.Prev, p.Pager.Next = []personKey{personNamed(query.Get("of"))}, "", ""
	}
	for _, person := range people(lines, show, query.Has("of")) {
		person.callFor(kept.calls[person.OwnerID])
		person.From, person.Page = list.Day.String(), p.Pager.Page
		for _, ahead := range []int{1, 7} {
			day := list.Day.AddDays(ahead)
			person.Soon = append(person.Soon, soonDay{day, strings.TrimSuffix(day.Long(), " "+strconv.Itoa(day.Year))})
		}
		for i := range person.Loops {
			person.Loops[i].Page = p.Pager.Page
		}
		if person.Key, err = newKey(s.Random); err != nil {
			return p, err
		}
		g := &groups[person.group]
		for _, l := range person.Loops {
			g.Tasks += len(l.Lines)
			if last := l.Lines[len(l.Lines)-1].Due; last.After(g.Last) {
				g.Last = last
			}
		}
		g.People = append(g.People, person)
	}
	p.Groups = slices.DeleteFunc(groups, func(g dueGroup) bool { return len(g.People) == 0 })
	if p.Quiet {
		p.Next, err = s.nextOf(list)
	}
	return p, err
}

// duePager says who stands on the page that is asked for: by number, or after a
// person who stands on the list. What was just written down is about one answer
// alone.
func duePager(query url.Values, groups [][]schedule.Line) (p pager, show []personKey) {
	pages, asked := pagesOf(groups, personKey{}), url.Values{"page": query["page"]}
	var rest [][]personKey
	if query.Has("after") {
		if rest = pagesOf(groups, personNamed(query.Get("after"))); len(rest) > 0 {
			n := slices.IndexFunc(pages, func(page []personKey) bool { return slices.Contains(page, rest[0][0]) })
			asked.Set("page", strconv.Itoa(n+1))
		}
	}
	p, from, to := newPager("/", asked, len(pages), 1)
	p.All = 0
	for _, lines := range groups {
		p.All += len(lines)
	}
	if !query.Has("after") {
		return p, slices.Concat(pages[from:to]...)
	}
	if len(rest) < 2 {
		p.Next = ""
	}
	return p, slices.Concat(rest[:min(1, len(rest))]...)
}

// nextOf finds what comes next: on the list, or beyond it in the register.
func (s *server) nextOf(list workshop.DueList) (*nextLine, error) {
	for _, group := range [][]schedule.Line{list.Week, list.Later} {
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
