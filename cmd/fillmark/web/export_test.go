// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"html/template"
	"net/http"
	"net/netip"
	"time"
)

// EachScreen calls do with every template set and the struct it is made for.
func EachScreen(do func(name string, set *template.Template, data any)) error {
	p, err := parsePages()
	for _, s := range screens() {
		do(s.name, p.sets[s.name], s.data)
	}
	return err
}

// Patterns lists every route there is.
func Patterns() []string {
	var all patterns
	(&server{}).routes(&all)
	return all
}

type patterns []string

func (p *patterns) Handle(pattern string, _ http.Handler) { *p = append(*p, pattern) }

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
