// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"fmt"
	"net/url"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fillmark/loops"
)

// Calendar is an iCalendar object (RFC 5545) of all-day events. Without an
// organizer it is a feed; with one it carries METHOD:PUBLISH and can ride in a
// mail, whose part must then say method=PUBLISH too (RFC 6047, section 2.4).
type Calendar struct {
	// Name is shown by calendar programs (RFC 7986); empty leaves it out.
	Name string
	// Organizer is who publishes; nil makes a feed.
	Organizer *Organizer
	// RefreshHours is how often subscribers should ask again, in a feed only;
	// zero leaves it to them.
	RefreshHours int
	Events       []Event
}

// Organizer is who publishes a calendar by mail: the workshop.
type Organizer struct {
	Name  string
	Email string // a bare address
}

// Event is one task on one day.
type Event struct {
	// UID is stable for a loop and task; see [EventUID].
	UID string
	// Sequence rises with every change, so that programs replace what they
	// have: the loop's revision.
	Sequence uint64
	// Stamp is when the event was last changed.
	Stamp time.Time
	Day   loops.Day
	// Summary, Description and Location are free text; line breaks are kept,
	// other control characters dropped, runs of blanks shortened to one.
	Summary, Description, Location string
	// URL is an http or https address; empty leaves it out.
	URL string
}

// EventUID returns the unique id of a loop's task: the same one however often
// the plan changes. The domain is the workshop's own, with what tells its
// registers apart before it.
func EventUID(loop loops.LoopID, task loops.TaskKind, domain string) string {
	return fmt.Sprintf("loop-%d-%s@%s", loop, strings.ReplaceAll(string(task), " ", "-"), domain)
}

// NewTechnicianEvent returns the event as a technician reads it: on the day that
// was agreed, with the owner's name, and the reasons with all their figures.
func NewTechnicianEvent(item Item, domain, link string, stamp time.Time) Event {
	about, _ := loops.AboutTask(item.Task.Kind)
	e := NewEvent(item, domain, link, stamp, about.Title+":", func(c loops.Clause) string {
		return fmt.Sprintf("%s: %s (%s; %s)", c.Day.Long(), c.Text, c.Source, c.Grade)
	})
	e.Day = item.ActOn()
	if item.Owner.Name != "" {
		e.Summary += ", " + item.Owner.Name
	}
	return e
}

// NewEvent returns the event of an item in the words of its reader: title says the
// task and ends with a colon, reason a clause of its plan with the day. The
// description gives every one; link, which may be empty, is where its reader can act.
func NewEvent(item Item, domain, link string, stamp time.Time, title string, reason func(loops.Clause) string) Event {
	what := item.Machine.Name
	if item.Loop.Name != "" {
		what += ", " + item.Loop.Name
	}
	var why []string
	for _, c := range item.Task.Clauses {
		why = append(why, reason(c))
	}
	return Event{
		UID: EventUID(item.Loop.ID, item.Task.Kind, domain), Sequence: item.Loop.Revision, Stamp: stamp,
		Day: item.Task.Due, URL: link, Description: strings.Join(why, "\n"),
		Summary: title + " " + what + " (" + string(item.Loop.Tag) + ")",
	}
}

// Encode writes the calendar, with CRLF line ends and lines of at most 75
// octets. It refuses what cannot be written without harm, with an
// [*loops.InvalidError]: an event without id, day or stamp, two events of one
// id, an address that is none, a link that is no plain web address.
func (c Calendar) Encode() ([]byte, error) {
	w := &lines{}
	w.add("BEGIN:VCALENDAR")
	w.add("VERSION:2.0")
	w.add("PRODID:-//Fillmark//Loop plan//EN")
	w.add("CALSCALE:GREGORIAN")
	organizer, err := c.organizer()
	if err != nil {
		return nil, err
	}
	if organizer != "" {
		w.add("METHOD:PUBLISH")
	}
	w.text("NAME", c.Name)
	w.text("X-WR-CALNAME", c.Name)
	if c.RefreshHours > 0 && organizer == "" {
		w.add(fmt.Sprintf("REFRESH-INTERVAL;VALUE=DURATION:PT%dH", c.RefreshHours))
		w.add(fmt.Sprintf("X-PUBLISHED-TTL:PT%dH", c.RefreshHours))
	}
	seen := map[string]bool{}
	for _, e := range c.Events {
		if err := e.validate(); err != nil {
			return nil, err
		}
		if seen[e.UID] {
			return nil, refused("uid", e.UID, "one event for each loop and task")
		}
		seen[e.UID] = true
		e.write(w, organizer)
	}
	w.add("END:VCALENDAR")
	return []byte(w.out.String()), nil
}

// organizer returns the ORGANIZER line; "" for a feed.
func (c Calendar) organizer() (string, error) {
	if c.Organizer == nil {
		return "", nil
	}
	if err := loops.CheckEmail("organizer", c.Organizer.Email); err != nil {
		return "", err
	}
	at := strings.LastIndexByte(c.Organizer.Email, '@')
	local, domain := c.Organizer.Email[:at], c.Organizer.Email[at+1:]
	line := "ORGANIZER"
	// A quoted parameter value has no escapes (RFC 5545, section 3.2): what it
	// cannot hold is replaced.
	name := strings.NewReplacer(`"`, "'", "\n", " ").Replace(printable(c.Organizer.Name))
	if name != "" {
		line += `;CN="` + name + `"`
	}
	return line + ":mailto:" + url.PathEscape(local) + "@" + url.PathEscape(domain), nil
}

func (e Event) validate() error {
	switch {
	case e.UID == "" || strings.ContainsFunc(e.UID, func(r rune) bool { return r <= ' ' || r > '~' || strings.ContainsRune(`\;,`, r) }):
		return refused("uid", e.UID, `visible ASCII without \ ; and , as EventUID makes it from a domain name`)
	case e.Day.IsZero():
		return refused("day", "", "the day of the event")
	case e.Stamp.IsZero():
		return refused("stamp", "", "the instant of the last change")
	}
	if e.URL == "" {
		return nil
	}
	u, err := url.Parse(e.URL)
	plain := !strings.ContainsFunc(e.URL, func(r rune) bool { return r <= ' ' || r > '~' || strings.ContainsRune(`"\<>`, r) })
	if err != nil || !plain || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return refused("url", e.URL, "an http or https address in visible ASCII")
	}
	return nil
}

func (e Event) write(w *lines, organizer string) {
	const instant = "20060102T150405Z"
	day := func(d loops.Day) string { return fmt.Sprintf("%04d%02d%02d", d.Year, int(d.Month), d.Dom) }
	stamp := e.Stamp.UTC().Format(instant)
	w.add("BEGIN:VEVENT")
	w.add("UID:" + e.UID)
	w.add("DTSTAMP:" + stamp)
	w.add("LAST-MODIFIED:" + stamp)
	w.add(fmt.Sprintf("SEQUENCE:%d", e.Sequence))
	w.add("DTSTART;VALUE=DATE:" + day(e.Day))
	w.add("DTEND;VALUE=DATE:" + day(e.Day.AddDays(1)))
	if organizer != "" {
		w.add(organizer)
	}
	w.text("SUMMARY", e.Summary)
	w.text("DESCRIPTION", e.Description)
	w.text("LOCATION", e.Location)
	if e.URL != "" {
		w.add("URL:" + e.URL)
	}
	// Being due does not make anybody busy.
	w.add("TRANSP:TRANSPARENT")
	// On the morning of the day (RFC 5545, section 3.6.6): the letter a week before
	// and the one a week after leave the day itself to the calendar.
	w.add("BEGIN:VALARM")
	w.add("ACTION:DISPLAY")
	w.text("DESCRIPTION", cmp.Or(printable(e.Summary), "Due today")) // it must have one
	w.add("TRIGGER:PT9H")
	w.add("END:VALARM")
	w.add("END:VEVENT")
}

func refused(field, value, reason string) error {
	return &loops.InvalidError{Field: field, Value: value, Reason: reason}
}

// lines gathers folded content lines.
type lines struct{ out strings.Builder }

// escape writes TEXT as RFC 5545, section 3.3.11, wants it.
var escape = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`)

// text adds a property whose value is TEXT, unless nothing of it can be shown:
// some programs object to a property without a value.
func (w *lines) text(name, value string) {
	if value = loops.Visible(printable(value)); strings.TrimSpace(value) != "" {
		w.add(name + ":" + escape.Replace(value))
	}
}

// printable makes line breaks of every kind "\n", drops other control
// characters and replaces what is not UTF-8, so that no line that is written
// can hold a break of its own. Of a run of blanks one is kept: some programs
// take a folded line of nothing but blanks for the end of the property.
func printable(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u2028", "\n", "\u2029", "\n", "\u0085", "\n").
		Replace(strings.ToValidUTF8(s, "\uFFFD"))
	blank := true // at the start
	s = strings.Map(func(r rune) rune {
		was := blank
		blank = r != '\n' && unicode.IsSpace(r)
		switch {
		case blank && was:
			return -1
		case blank:
			return ' '
		case unicode.IsControl(r) && r != '\n':
			blank = was
			return -1
		}
		return r
	}, s)
	return strings.TrimSuffix(s, " ")
}

// maxOctets is the longest a line may be, without its line end (RFC 5545,
// section 3.1).
const maxOctets = 75

// add writes one content line, folded: never inside a character and never
// between a backslash and what it escapes, which some programs cannot join.
func (w *lines) add(line string) {
	length := 0
	for line != "" {
		_, size := utf8.DecodeRuneInString(line)
		if line[0] == '\\' && len(line) > 1 {
			_, escaped := utf8.DecodeRuneInString(line[1:])
			size += escaped
		}
		if length+size > maxOctets {
			w.out.WriteString("\r\n ")
			length = 1
		}
		w.out.WriteString(line[:size])
		line, length = line[size:], length+size
	}
	w.out.WriteString("\r\n")
}
