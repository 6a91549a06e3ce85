// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"fmt"
	"html/template"
	"sync"
	"time"

	"fillmark/loops"
)

// keptPart is a part of a page that lists much, as it was drawn at one state of
// the register in one hour, the same for everybody: a letter on its way turns late
// by the hour, all else by the day. The zero value was never drawn.
type keptPart struct {
	mu       sync.Mutex
	revision loops.StoreRevision
	day      loops.Day
	hour     int // of it
	html     template.HTML
}

// part is the template of a page drawn with what read finds, or as it was drawn
// last where nothing was written since. Those who ask at once wait for one that
// reads.
func (s *server) part(kept *keptPart, page, name string, now time.Time, read func() (any, error)) (template.HTML, error) {
	kept.mu.Lock()
	defer kept.mu.Unlock()
	// Before it is read: a write meanwhile makes it outdated, not wrong.
	revision, err := s.Reader.Revision()
	if err != nil {
		return "", err
	}
	zone := s.Workshop.Settings().Zone
	day, hour := loops.DayOf(now, zone), now.In(zone).Hour()
	if kept.html != "" && kept.revision == revision && kept.day == day && kept.hour == hour {
		return kept.html, nil
	}
	data, err := read()
	if err != nil {
		return "", err
	}
	set, err := s.pages.sets[page]()
	if err != nil {
		return "", fmt.Errorf("page %s: %w", page, err)
	}
	var b bytes.Buffer
	if err := set.ExecuteTemplate(&b, name, data); err != nil {
		return "", fmt.Errorf("render %s: %w", name, err)
	}
	kept.revision, kept.day, kept.hour = revision, day, hour
	kept.html = template.HTML(b.String()) // escaped by the templates just now
	return kept.html, nil
}
