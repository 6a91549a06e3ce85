// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"fmt"
	"maps"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// requests counts the requests that were answered. The zero value has none.
type requests struct {
	mu      sync.Mutex
	answers map[answered]uint64
	within  [8]uint64 // by [requestBounds]; the last has no bound
	seconds float64
}

// answered is what requests are counted by. Patterns are as few as routes, so
// nobody can make the list grow.
type answered struct {
	pattern string
	status  int
}

// requestBounds are the upper bounds of the counted times, in seconds.
func requestBounds() []float64 { return []float64{0.001, 0.005, 0.02, 0.1, 0.5, 2, 10} }

// counted counts one request.
func (s *server) counted(pattern string, status int, took time.Duration) {
	q := &s.requests
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.answers == nil {
		q.answers = map[answered]uint64{}
	}
	q.answers[answered{pattern, status}]++
	q.seconds += took.Seconds()
	i, _ := slices.BinarySearch(requestBounds(), took.Seconds())
	q.within[i]++
}

// metrics writes what Prometheus and its like collect, in its text format
// 0.0.4. Nothing in it is about a person.
func (s *server) metrics(w http.ResponseWriter, _ *http.Request) error {
	var text exposition
	s.requests.write(&text)
	if s.Pulse != nil {
		s.Pulse.now().write(&text)
	}
	waiting, err := s.Workshop.Waiting()
	if err != nil {
		return err
	}
	state := workshop.MailStateOf(waiting, nil, s.Now())
	text.gauge("fillmark_mail_queue_length", "Messages that wait to leave.", float64(state.Waiting))
	age := 0.0
	if !state.Oldest.IsZero() {
		age = max(0, s.Now().Sub(state.Oldest).Seconds())
	}
	text.gauge("fillmark_mail_queue_oldest_seconds", "Age of the message that waits longest; 0 where none does.", age)
	if canary, sent, err := s.Workshop.CanaryState(); err != nil {
		return err
	} else if age, came := canary.Age(s.Now()); sent && came {
		text.gauge("fillmark_canary_age_seconds", "Age of the newest of our letters to ourselves that came back, counted from its writing.", age.Seconds())
	}
	s.writeAlarms(&text)
	var memory runtime.MemStats
	runtime.ReadMemStats(&memory)
	text.family("go_goroutines", "gauge", "Goroutines that exist.")
	text.sample("go_goroutines", float64(runtime.NumGoroutine()))
	text.family("go_memstats_heap_inuse_bytes", "gauge", "Bytes in heap spans that are in use.")
	text.sample("go_memstats_heap_inuse_bytes", float64(memory.HeapInuse))
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	_, _ = w.Write(text.Bytes()) // the reader has gone where this fails
	return nil
}

// writeAlarms writes for each part of the work whether it can be done.
func (s *server) writeAlarms(text *exposition) {
	if s.Alarms == nil {
		return
	}
	red := s.Alarms.Red(s.Now())
	const name = "fillmark_alarm"
	text.family(name, "gauge", "Whether a part of the work cannot be done; 0 or 1.")
	for _, part := range s.Alarms.Names() {
		is := 0.0
		if slices.ContainsFunc(red, func(a loops.Alarm) bool { return a.Name == part }) {
			is = 1
		}
		text.sample(name, is, "part", part)
	}
}

func (q *requests) write(text *exposition) {
	q.mu.Lock()
	defer q.mu.Unlock()
	text.family("fillmark_requests_total", "counter", "Requests answered, by route and status.")
	for _, a := range slices.SortedFunc(maps.Keys(q.answers), func(a, b answered) int {
		return strings.Compare(a.pattern, b.pattern)*1000 + a.status - b.status
	}) {
		text.sample("fillmark_requests_total", float64(q.answers[a]), "route", a.pattern, "status", fmt.Sprint(a.status))
	}
	const name = "fillmark_request_seconds"
	text.family(name, "histogram", "Time to answer a request.")
	var sum uint64
	for i, bound := range requestBounds() {
		sum += q.within[i]
		text.sample(name+"_bucket", float64(sum), "le", fmt.Sprint(bound))
	}
	sum += q.within[len(q.within)-1]
	text.sample(name+"_bucket", float64(sum), "le", "+Inf")
	text.sample(name+"_sum", q.seconds)
	text.sample(name+"_count", float64(sum))
}

func (p pulse) write(text *exposition) {
	count := func(name, help string, n uint64) {
		text.family(name, "counter", help)
		text.sample(name, float64(n))
	}
	count("fillmark_sweeps_total", "Sweeps of what is due.", p.sweeps)
	count("fillmark_sweep_failures_total", "Sweeps that failed.", p.sweepFaults)
	count("fillmark_reminders_total", "Reminders composed.", p.reminders)
	const mail = "fillmark_mail_total"
	text.family(mail, "counter", "Deliveries of mail, by how they ended.")
	for _, m := range []struct {
		outcome string
		n       uint64
	}{{"delivered", p.delivered}, {"deferred", p.deferred}, {"expired", p.expired}, {"refused", p.refused}, {"withdrawn", p.withdrawn}, {"held", p.held}} {
		text.sample(mail, float64(m.n), "outcome", m.outcome)
	}
	up := 1.0
	if p.relayDown {
		up = 0
	}
	text.gauge("fillmark_mail_relay_up", "Whether the relay, or the folder, took mail when it was last offered some; 0 or 1.", up)
	text.family("fillmark_last_sweep_timestamp_seconds", "gauge", "When the last sweep that worked began, in Unix seconds; 0 before the first.")
	swept := 0.0
	if !p.swept.IsZero() {
		swept = float64(p.swept.Unix())
	}
	text.sample("fillmark_last_sweep_timestamp_seconds", swept)
}

// exposition is text in Prometheus' format.
type exposition struct{ bytes.Buffer }

func (e *exposition) family(name, kind, help string) {
	fmt.Fprintf(e, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, kind)
}

// gauge writes a family of one value.
func (e *exposition) gauge(name, help string, value float64) {
	e.family(name, "gauge", help)
	e.sample(name, value)
}

// sample writes one line; labels are names and values in turn.
func (e *exposition) sample(name string, value float64, labels ...string) {
	e.WriteString(name)
	for i := 0; i < len(labels); i += 2 {
		fmt.Fprintf(e, `%s%s="%s"`, []string{"{", ","}[min(i, 1)], labels[i], escapeLabel(labels[i+1]))
	}
	if len(labels) > 0 {
		e.WriteByte('}')
	}
	fmt.Fprintf(e, " %v\n", value)
}

// escapeLabel writes a label's value as the format wants it.
func escapeLabel(value string) string {
	return strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`).Replace(value)
}
