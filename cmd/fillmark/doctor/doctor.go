// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package doctor judges whether all is well, a line a check: what is looked at,
// how it is, and what to do. It works from [Facts] that were gathered before, and
// looks at nothing itself.
//
// Main entry: [Examine]. A check is a function from the facts to a line, put into
// the list of [checks] with the names of those whose fault would explain its own.
package doctor

import (
	"slices"
	"time"
)

// State is how a check came out.
type State string

// The states. Follows is a fault that another line's explains: with that one put
// right it may go by itself.
const (
	Good    State = "good"
	Red     State = "red"
	Follows State = "follows"
	NotHere State = "not applicable"
)

// Line is one check.
type Line struct {
	Check string `json:"check"`
	State State  `json:"state"`
	// Says is how it is, in one sentence or more.
	Says string `json:"says"`
	// Do is what puts it right; empty where nothing is wrong.
	Do string `json:"do,omitempty"`
	// From names the checks that a fault follows from.
	From []string `json:"from,omitempty"`
	// Stops tells that with this fault the house does not do its work: /readyz
	// says so too.
	Stops bool `json:"-"`
}

// Report is all lines.
type Report struct {
	At time.Time `json:"at"`
	// OK tells that no line is red.
	OK    bool   `json:"ok"`
	Lines []Line `json:"lines"`
}

// Line returns the line of a check; the zero value where there is none.
func (r Report) Line(check string) Line {
	i := slices.IndexFunc(r.Lines, func(l Line) bool { return l.Check == check })
	if i < 0 {
		return Line{}
	}
	return r.Lines[i]
}

// Told are the faults that the pages of the day tell and that somebody is told of,
// and of backups also such as follow from another. The register, sweeps, mail and
// what comes in have a place of their own there, and that no daemon runs is no news
// from one.
func (r Report) Told() []Line {
	var told []Line
	for _, l := range r.Lines {
		backups := slices.Contains([]string{"restore drill", "backup", "second backup"}, l.Check)
		own := slices.Contains([]string{"register", "register file", "daemon", "sweep", "mail", "mailbox", "canary"}, l.Check)
		if l.State == Red && !own || l.State == Follows && backups {
			told = append(told, l)
		}
	}
	return told
}

// With adds the lines that only another report has, one that took longer; a fault
// of then says when it was seen, since it may have been put right.
func (r Report) With(then *Report, zone *time.Location) Report {
	if then == nil {
		return r
	}
	for _, l := range then.Lines {
		if r.Line(l.Check).Check != "" {
			continue
		}
		if l.State == Red || l.State == Follows {
			l.Says += " Seen on " + Facts{Zone: zone}.instant(then.At) + "."
		}
		r.OK, r.Lines = r.OK && l.State != Red, append(r.Lines, l)
	}
	return r
}

// Count is how many lines are in a state.
func (r Report) Count(s State) int {
	n := 0
	for _, l := range r.Lines {
		if l.State == s {
			n++
		}
	}
	return n
}

// check is one thing that is looked at.
type check struct {
	name string
	// causes are checks before it in the list whose fault explains its own.
	causes []string
	judge  func(Facts) Line
	// quick tells that its facts cost next to nothing, stops that the house does
	// not do its work without it.
	quick, stops bool
}

// checks lists every check, causes first.
func checks() []check {
	return []check{
		{"register", nil, register, true, true},
		{"register file", []string{"register"}, registerFile, true, true},
		{"daemon", nil, daemon, true, false},
		{"clock", []string{"register"}, clock, true, true},
		{"disk", nil, disk, true, true},
		{"permissions", nil, permissions, true, false},
		{"zone data", []string{"register"}, zones, false, false},
		{"sender", nil, sender, true, true},
		{"links", nil, links, true, true},
		{"mail files", []string{"permissions"}, mailFiles, false, false},
		{"certificate", []string{"permissions", "clock"}, certificate, true, false},
		{"resolver", nil, resolver, false, false},
		{"DKIM", []string{"sender", "resolver"}, dkim, false, false},
		{"SPF", []string{"sender", "resolver"}, spf, false, false},
		{"DMARC", []string{"sender", "resolver"}, dmarc, false, false},
		{"sweep", []string{"register", "register file", "daemon", "disk", "clock"}, sweep, true, true},
		{"mail", []string{"register", "daemon", "sender", "links", "mail files", "sweep"}, mail, true, true},
		{"held letters", []string{"register"}, held, false, false},
		{"addresses given up", []string{"register"}, givenUp, false, false},
		{"owners' addresses", []string{"register"}, unmailable, false, false},
		{"bounces", nil, bounces, true, false},
		{"mailbox", []string{"permissions", "clock"}, mailbox, true, false},
		{"canary", []string{"register", "daemon", "mail", "bounces", "mailbox", "sender"}, canary, true, false},
		{"restore drill", []string{"register", "register file", "disk"}, drill, true, true},
		{"backup", []string{"register", "register file", "daemon", "disk", "clock", "restore drill"}, backup, true, true},
		{"second backup", []string{"register", "register file", "daemon", "disk", "clock", "backup", "restore drill"}, secondBackup, true, false},
	}
}

// Examine judges everything.
func Examine(f Facts) Report { return examine(f, checks()) }

// Quick judges what is known at once, without asking the DNS and without walking
// through the register: for pages and for those who ask every few seconds.
func Quick(f Facts) Report {
	return examine(f, slices.DeleteFunc(checks(), func(c check) bool { return !c.quick }))
}

func examine(f Facts, all []check) Report {
	r := Report{At: f.At, OK: true, Lines: []Line{}}
	for _, c := range all {
		line := c.judge(f)
		line.Check, line.Stops = c.name, c.stops
		if line.State == Red {
			for _, cause := range c.causes {
				if s := r.Line(cause).State; s == Red || s == Follows {
					line.From = append(line.From, cause)
				}
			}
			if len(line.From) > 0 {
				line.State = Follows
			}
		}
		r.OK = r.OK && line.State != Red
		r.Lines = append(r.Lines, line)
	}
	return r
}

func good(says string) Line { return Line{State: Good, Says: says} }

func red(says, do string) Line { return Line{State: Red, Says: says, Do: do} }

func notHere(says string) Line { return Line{State: NotHere, Says: says} }
