// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/schedule"
)

// feedRefresh is how often subscribers should read a calendar again, in hours.
const feedRefresh = 12

// feedAhead is how many days of tasks the technician's calendar shows.
const feedAhead = 400

// OwnerCalendar writes the feed of one owner: every task of every loop that is
// not paused, in the owner's words.
func (w *Workshop) OwnerCalendar(id loops.OwnerID) ([]byte, error) {
	b, err := w.register.BelongingsOf(id, false)
	if err != nil {
		return nil, fmt.Errorf("owner %d: %w", id, err)
	}
	var events []schedule.Event
	for _, file := range filesIn(b) {
		for _, task := range file.Loop.Plan.Tasks {
			if !task.Paused {
				item := schedule.Item{Owner: b.Owner, Machine: file.Machine, Loop: file.Loop, Task: task}
				events = append(events, w.event(item, "", w.changed(file.Loop)))
			}
		}
	}
	return schedule.Calendar{Name: w.WordsFor(b.Owner).Say("event.feed", w.settings.Name), RefreshHours: feedRefresh, Events: events}.Encode()
}

// event is a task as its owner's calendar shows it, in their language: with every
// reason, and where they can act.
func (w *Workshop) event(item schedule.Item, link string, stamp time.Time) schedule.Event {
	ws := w.WordsFor(item.Owner)
	about, _ := loops.AboutTask(item.Task.Kind)
	return schedule.NewEvent(item, w.eventDomain(), link, stamp, ws.Say("colon", ws.Recorded(about.OwnerTitle)), func(c loops.Clause) string {
		return ws.Say("event.reason", ws.Day(c.Day), ws.Recorded(c.ForOwner()), strings.TrimRight(ws.Recorded(c.SourceForOwner()), "."))
	})
}

// TechnicianCalendar writes the workshop's feed: what is due up to 400 days
// after the instant, and all that is overdue, with every reason as the plan
// has it.
func (w *Workshop) TechnicianCalendar(at time.Time) ([]byte, error) {
	items, err := w.items(loops.DayOf(at, w.settings.Zone).AddDays(feedAhead), at)
	if err != nil {
		return nil, err
	}
	var events []schedule.Event
	for _, item := range items {
		if !item.Task.Paused {
			link := w.settings.BaseURL + "/loops/" + string(item.Loop.Tag)
			events = append(events, schedule.NewTechnicianEvent(item, w.eventDomain(), link, w.changed(item.Loop)))
		}
	}
	return schedule.Calendar{Name: w.settings.Name + ": loops due", RefreshHours: feedRefresh, Events: events}.Encode()
}

// eventDomain ends the ids of calendar entries: two registers under one domain
// number their loops alike, so a digest of the register's own id stands before it.
// Registers had no id once: those gave the domain alone.
func (w *Workshop) eventDomain() string {
	id := w.register.ID()
	if id == "" {
		return w.mailDomain()
	}
	sum := sha256.Sum256([]byte("calendar\x00" + id))
	return hex.EncodeToString(sum[:8]) + "." + w.mailDomain()
}

// changed is when a loop's plan was last made, so that a feed changes only
// with it.
func (w *Workshop) changed(l loops.Loop) time.Time {
	if l.Plan.Made.IsZero() {
		return time.Unix(0, 0).UTC() // a plan of before plans noted it
	}
	return l.Plan.Made
}
