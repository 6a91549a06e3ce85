// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"fillmark/cmd/fillmark/alarm"
	"fillmark/loops"
	"fillmark/notify"
)

// Pulse is what the sweeping loop tells of itself, for /readyz and /metrics.
// It is safe for concurrent use.
type Pulse struct {
	every time.Duration

	mu   sync.Mutex
	seen pulse
}

// pulse is what the loop did since the start.
type pulse struct {
	swept                                 time.Time // the last sweep that worked
	sweeps, sweepFaults, reminders        uint64
	delivered, deferred, refused, expired uint64
	withdrawn, held                       uint64
	relayDown                             bool
	// fault is that of the last sweep, unsent that of the last delivery; nil where
	// they worked.
	fault, unsent error
}

// NewPulse returns the pulse of a loop that sweeps at least that often.
func NewPulse(every time.Duration) *Pulse { return &Pulse{every: every} }

// Swept notes a sweep, how many reminders it composed, and its error if any.
func (p *Pulse) Swept(at time.Time, reminders int, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen.sweeps++
	if p.seen.fault = err; err != nil {
		p.seen.sweepFaults++
		return
	}
	p.seen.swept = at
	p.seen.reminders += uint64(reminders)
}

// Delivered notes what a delivery did, and its error if any: what the relay
// refuses is none.
func (p *Pulse) Delivered(r notify.Report, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen.unsent = err
	p.seen.delivered += uint64(r.Delivered)
	p.seen.deferred += uint64(r.Deferred)
	p.seen.refused += uint64(r.Refused)
	p.seen.expired += uint64(r.Expired)
	p.seen.withdrawn += uint64(r.Withdrawn)
	p.seen.held += uint64(r.Held)
	p.seen.relayDown = r.RelayFault != nil
}

func (p *Pulse) now() pulse {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.seen
}

// Late says how the loop has fallen behind: nil while sweeps come in time.
func (p *Pulse) Late(now time.Time) error {
	if fault := p.Fault(); loops.NoWrite(fault) {
		return fault
	}
	if reason, _ := p.Source().Check(now); reason != "" {
		return errors.New(reason)
	}
	if p.now().swept.IsZero() {
		return errors.New("not swept yet")
	}
	return nil
}

// Fault is that of the last sweep or, where it worked, of the last delivery; nil
// where both did.
func (p *Pulse) Fault() error {
	seen := p.now()
	return cmp.Or(seen.fault, seen.unsent)
}

// Source is red while what is due cannot be looked after: the last sweep failed,
// or none came in time. A register that is gone and a full disk are judged by the
// doctor, whose alarms say it once.
func (p *Pulse) Source() alarm.Source {
	return alarm.Source{Name: "sweep", Check: func(now time.Time) (reason, remedy string) {
		seen, fault := p.now(), p.Fault()
		switch {
		case loops.NoWrite(fault):
			return "", ""
		case fault != nil:
			return "What is due cannot be looked after: " + fault.Error() + ".", "Read the program's log, and see on the doctor's page how the register stands."
		case seen.swept.IsZero():
			return "", "" // the first is under way
		}
		// One that is missed is bad luck; with two gone the loop stands.
		if age := now.Sub(seen.swept); age > 3*p.every {
			return fmt.Sprintf("Nothing looked for what is due for %s; it should be every %s.", age.Round(time.Second), p.every),
				"A long queue of mail may hold it up; if none is there, start the program again and keep what its log says."
		}
		return "", ""
	}}
}

func (s *server) healthy(w http.ResponseWriter, _ *http.Request) error {
	writeText(w, http.StatusOK, "ok\n")
	return nil
}

// ready tells whether the program does its work: the register can be read,
// sweeps come in time, and nothing else that it looks after is red.
func (s *server) ready(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.Reader.Owner(0); !errors.Is(err, loops.ErrNotFound) {
		s.Log.Error("not ready: the register cannot be read", "error", err)
		writeText(w, http.StatusServiceUnavailable, "the register cannot be read\n")
		return nil
	}
	why := ""
	for _, a := range s.red() {
		why += a.Name + ": " + a.Reason + " " + a.Remedy + "\n"
	}
	if trouble := s.stopped(); why == "" && trouble != "" {
		why = trouble + "\n"
	}
	if why == "" && s.Pulse != nil && s.Pulse.now().swept.IsZero() {
		why = "starting: the first sweep is not done yet\n"
	}
	if why != "" {
		writeText(w, http.StatusServiceUnavailable, why)
		return nil
	}
	writeText(w, http.StatusOK, "ready\n")
	return nil
}

// HouseAlarm is the name of the alarm for what the doctor tells; pages show its
// lines one by one.
const HouseAlarm = "house"

// red is what cannot be done at the moment.
func (s *server) red() []loops.Alarm {
	if s.Alarms == nil {
		return []loops.Alarm{}
	}
	return slices.DeleteFunc(s.Alarms.Red(s.Now()), func(a loops.Alarm) bool { return a.Name == HouseAlarm })
}

func writeText(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text)) // the reader has gone where this fails
}
