// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"fmt"
	"strings"

	"fillmark/loops"
)

// Conversation is one call: an owner, why a person must speak to them, and
// every task that it is about.
type Conversation struct {
	Owner, Phone, Why string
	Letter            loops.Tag // of the first loop that a printed letter can go about instead; or empty
	About             []CallLine
}

// Conversations gathers the lines of the list into conversations, in the order of their
// first lines: nobody is called six times for six tasks.
func Conversations(lines []CallLine) []Conversation {
	type key struct {
		owner loops.OwnerID
		why   string
	}
	var calls []Conversation
	at := map[key]int{}
	for _, l := range lines {
		k := key{l.OwnerID, l.Why}
		i, ok := at[k]
		if !ok {
			i = len(calls)
			at[k] = i
			calls = append(calls, Conversation{Owner: l.Owner, Phone: l.Phone, Why: l.Why})
		}
		calls[i].About = append(calls[i].About, l)
		if l.Letter && calls[i].Letter == "" {
			calls[i].Letter = l.Tag
		}
	}
	return calls
}

// mostTold bounds what one line of a call names.
const mostTold = 8

// Sentence is the call in one line: whom, on which number, why, and about what.
func (c Conversation) Sentence() string {
	var line strings.Builder
	fmt.Fprintf(&line, "%s (%s): %s", cmp.Or(c.Owner, "no owner"), cmp.Or(c.Phone, NoPhone), c.Why)
	for n, l := range c.About[:min(len(c.About), mostTold)] {
		if n == 0 || l.Tag != c.About[n-1].Tag {
			fmt.Fprintf(&line, ". %s %s: ", l.Tag, l.Machine)
		} else {
			line.WriteString("; ")
		}
		fmt.Fprintf(&line, "%s %s", l.Task, l.when())
		if l.Evidence != "" {
			fmt.Fprintf(&line, " (%s)", l.Evidence)
		}
	}
	if more := len(c.About) - mostTold; more > 0 {
		fmt.Fprintf(&line, "; and %d more", more)
	}
	return line.String() + "."
}

// NoPhone stands where an owner's number should.
const NoPhone = "no telephone on record"

// when is the day of the task, said as what it is: past, or to come.
func (l Line) when() string {
	if l.OverdueDays < 0 {
		return "by " + l.Due.Long()
	}
	return "since " + l.Due.Long()
}
