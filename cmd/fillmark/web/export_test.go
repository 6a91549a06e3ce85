// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"net/netip"
	"slices"
	"time"
)

// screen is one page there is: its template and the struct it is made for.
type screen struct {
	name string
	data any
}

// screens lists every page; a test holds each template to its struct.
func screens() []screen {
	return []screen{
		{"due", duePage{}}, {"done", donePage{}},
		{"day", dayPage{}},
		{"loops", loopsPage{}},
		{"loop", loopPage{}},
		{"owner", ownerPage{}},
		{"stop", stopPage{}},
		{"sign-in", signInPage{}},
		{"password", passwordPage{}},
		{"account", accountPage{}},
		{"error", errorPage{}}, {"offline", offlinePage{}},
		{"openings", openingsPage{}},
		{"opening", openingPage{}},
		{"questions", questionsPage{}},
		{"vendor", vendorPage{}},
		{"register", registerPage{}}, {"scan", scanPage{}}, {"topup", topupPage{}},
		{"triage", triagePage{}},
		{"log", logPage{}},
		{"intake", intakePage{}},
		{"units", unitsPage{}},
		{"refill", refillPage{}},
		{"more", morePage{}},
		{"trust", trustPage{}},
		{"owners", ownersPage{}},
		{"ownerfile", ownerFilePage{}},
		{"letter", letterPage{}},
		{"outbox", outboxPage{}},
		{"message", messagePage{}},
		{"settings", settingsPage{}}, {"doctor", doctorPage{}},
		{"shelf", shelfPage{}},
		{"container", containerPage{}},
		{"recall", recallPage{}},
		{"edit", editPage{}},
		{"label", labelPage{}},
		{"card", cardPage{}}, {"handover", handoverPage{}},
		{"receipt", receiptPage{}},
	}
}

// EachScreen calls do with every template set and the struct it is made for.
func EachScreen(do func(name string, set *template.Template, data any)) error {
	p, err := newPages()
	for _, s := range screens() {
		set, parsed := p.sets[s.name]()
		if parsed != nil {
			return parsed
		}
		do(s.name, set, s.data)
		delete(p.sets, s.name)
	}
	for name, data := range map[string]any{"day": dayList{}, "register": registerList{}} {
		parts, parsed := newPages()
		if parsed != nil {
			return parsed
		}
		set, parsed := parts.sets[name]()
		if parsed != nil {
			return parsed
		}
		do(name+"-list", set.Lookup(name+"-list"), data)
	}
	if len(p.sets) > 0 {
		return fmt.Errorf("no struct is named here for the templates %v", slices.Collect(maps.Keys(p.sets)))
	}
	return err
}

// KeptLoops are the tags that a device keeps, of a list that has room for so many.
func KeptLoops(d Deps, most int) (tags []string, more bool, err error) {
	rows, more, err := (&server{Deps: d}).keptLoops(most)
	for _, row := range rows {
		tags = append(tags, string(row.Tag))
	}
	return tags, more, err
}

// KeptReads draws a list that is kept at the instants, and tells how often it was read.
func KeptReads(d Deps, at ...time.Time) (reads int, err error) {
	s := &server{Deps: d}
	if s.pages, err = newPages(); err != nil {
		return 0, err
	}
	var kept keptPart
	for _, now := range at {
		read := func() (any, error) { reads++; return dayList{}, nil }
		if _, err := s.part(&kept, "day", "day-list", now, read); err != nil {
			return reads, err
		}
	}
	return reads, nil
}

// SameLook tells whether two fields, by id, name and choices, are drawn as one.
func SameLook(id, name string, choices []string, otherID, otherName string, others []string) bool {
	look := func(id, name string, choices []string) string {
		x := field{ID: id, Name: name}
		for _, c := range choices {
			x.Choices = append(x.Choices, choice{Value: c})
		}
		text, _ := x.look()
		return text
	}
	return look(id, name, choices) == look(otherID, otherName, others)
}

// Patterns lists every route there is.
func Patterns() []string {
	var all []string
	for _, rt := range (&server{}).routes() {
		all = append(all, rt.pattern)
	}
	return all
}

// FailureOf is what is answered to an error.
func FailureOf(err error) (int, Failure) { return failureOf(err) }

// OwnPath is the check of where a sign-in leads back to.
func OwnPath(path string) string { return ownPath(path) }

// ClientOf is where a request comes from as its visit has it.
func ClientOf(r *http.Request, proxy netip.Prefix) (client netip.Addr, here bool) {
	v := newVisit(r, proxy)
	return v.client, v.here()
}

// Throttle is a throttle for tests.
type Throttle struct{ t *throttle }

// NewThrottle returns one that remembers nobody yet.
func NewThrottle(burst int, pace time.Duration) Throttle { return Throttle{newThrottle(burst, pace)} }

// Take counts a try and returns how long to wait, 0 where it is allowed.
func (t Throttle) Take(key string, now time.Time) time.Duration {
	var busy *busyError
	if errors.As(t.t.take(key, now), &busy) {
		return busy.wait
	}
	return 0
}

// Size is how many keys are remembered.
func (t Throttle) Size() int { return len(t.t.buckets) }

// The bounds of what requests hold, in bytes.
const (
	MaxBody       = maxBody
	MaxTable      = maxTable
	MaxFieldBytes = maxFieldBytes
	MaxFormPhotos = maxFormPhotos
)
