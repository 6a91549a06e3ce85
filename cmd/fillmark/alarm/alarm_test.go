// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package alarm_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/cmd/fillmark/alarm"
	"fillmark/loops"
	"fillmark/loops/store"
)

var noon = time.Date(2026, time.November, 29, 12, 0, 0, 0, time.UTC)

// heard is a server that takes what it is told.
type heard struct {
	*httptest.Server
	mu     sync.Mutex
	status int
	bodies []string
	heads  []http.Header
}

func listening(t *testing.T) *heard {
	t.Helper()
	h := &heard{status: http.StatusOK}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		h.mu.Lock()
		defer h.mu.Unlock()
		if err == nil && h.status == http.StatusOK {
			h.bodies, h.heads = append(h.bodies, string(body)), append(h.heads, r.Header)
		}
		w.WriteHeader(h.status)
	}))
	t.Cleanup(h.Close)
	return h
}

// answers sets the status that the server gives from now on.
func (h *heard) answers(status int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.status = status
}

// told returns what was heard since it was asked last.
func (h *heard) told() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	all := h.bodies
	h.bodies = nil
	return all
}

// work is a part of the work that a test lets fail.
type work struct{ why string }

func (w *work) source(name string) alarm.Source {
	return alarm.Source{Name: name, Check: func(time.Time) (reason, remedy string) {
		if w.why == "" {
			return "", ""
		}
		return w.why, "Put it right."
	}}
}

func openStore(t *testing.T, path string) *store.Store {
	t.Helper()
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

func options() alarm.Options {
	return alarm.Options{Workshop: "Brook & Bench", Zone: time.UTC, Again: 24 * time.Hour}
}

// A way hears once that something turned red, again after a day, and once that
// it is over, however often the program starts in between.
func TestToldOnceAgainAndOver(t *testing.T) {
	t.Parallel()
	path, hears, mail := filepath.Join(t.TempDir(), "register.db"), listening(t), &work{}
	minute := 0
	// lives runs the program for so many minutes.
	lives := func(minutes int) []string {
		s, err := store.Open(path, store.Options{})
		require.NoError(t, err)
		b, err := alarm.NewBoard(s, options(), []alarm.Way{alarm.Post(hears.URL, "")}, mail.source("mail"))
		require.NoError(t, err)
		for range minutes {
			require.NoError(t, b.Tell(t.Context(), noon.Add(time.Duration(minute)*time.Minute)))
			minute++
		}
		require.NoError(t, s.Close())
		return hears.told()
	}
	first := lives(30)
	require.Len(t, first, 1, "that the way works is shown at once")
	assert.Contains(t, first[0], "Nothing is wrong.")
	assert.Empty(t, lives(60))

	mail.why = "No mail leaves."
	red := lives(5)
	require.Len(t, red, 1)
	assert.Equal(t, "Fillmark at Brook & Bench cannot do a part of its work.\nMail, since Sun 29 Nov 2026 13:30 UTC: No mail leaves. Put it right.\n", red[0])
	assert.Empty(t, lives(20), "a start tells nothing twice")
	assert.Empty(t, lives(23*60))
	assert.Len(t, lives(24*60), 1, "once a day while it lasts")

	mail.why = ""
	assert.Empty(t, lives(29), "it may come back")
	over := lives(60)
	require.Len(t, over, 1)
	assert.Contains(t, over[0], "does its work again.\nOver: mail, from Sun 29 Nov 2026 13:30 UTC to ")
	assert.Empty(t, lives(24*60))
	assert.Len(t, lives(30*24*60), 1, "and once a month that the way still works")
}

// Something that comes and goes every few minutes is one alarm.
func TestFlappingNeverFloods(t *testing.T) {
	t.Parallel()
	hears, mail := listening(t), &work{}
	b, err := alarm.NewBoard(openStore(t, filepath.Join(t.TempDir(), "register.db")), options(), []alarm.Way{alarm.Post(hears.URL, "")}, mail.source("mail"))
	require.NoError(t, err)
	for minute := range 20 * 60 {
		mail.why = map[bool]string{true: "No mail leaves."}[minute%20 < 10]
		require.NoError(t, b.Tell(t.Context(), noon.Add(time.Duration(minute)*time.Minute)))
	}
	assert.Len(t, hears.told(), 1)
}

// Whatever comes and goes: a way is used at most every quarter of an hour, what
// stays red is told within that, and what is over for long is told as over.
func TestTellingsAreFewAndComplete(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		keep, names := &memory{}, []string{"mail", "sweep", "backup"}
		parts := map[string]*work{"mail": {}, "sweep": {}, "backup": {}}
		var tellings []alarm.Telling
		var used []time.Time
		now, fails := noon, false
		way := alarm.Way{Name: "post", Where: "there", Send: func(_ context.Context, said alarm.Telling) error {
			used = append(used, now)
			if fails {
				return errors.New("nobody there")
			}
			tellings = append(tellings, said)
			return nil
		}}
		board := func() *alarm.Board {
			var sources []alarm.Source
			for _, name := range names {
				sources = append(sources, parts[name].source(name))
			}
			b, err := alarm.NewBoard(keep, options(), []alarm.Way{way}, sources...)
			require.NoError(t, err)
			return b
		}
		b := board()
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			for _, name := range names {
				parts[name].why = rapid.SampledFrom([]string{"", "", "It fails."}).Draw(t, "why")
			}
			fails = rapid.IntRange(0, 3).Draw(t, "fails") == 0
			if rapid.Bool().Draw(t, "starts again") {
				b = board()
			}
			for range rapid.IntRange(1, 60).Draw(t, "minutes") {
				now = now.Add(time.Minute)
				require.NoError(t, b.Tell(t.Context(), now))
			}
		}
		for i := 1; i < len(used); i++ {
			require.GreaterOrEqual(t, used[i].Sub(used[i-1]), 15*time.Minute)
		}
		fails = false
		for range 16 {
			now = now.Add(time.Minute)
			require.NoError(t, b.Tell(t.Context(), now))
		}
		require.NotEmpty(t, tellings)
		reds := map[string]bool{}
		for _, said := range tellings {
			for _, o := range said.Over {
				delete(reds, o.Name)
			}
			for _, r := range said.Red {
				reds[r.Name] = true
			}
		}
		for _, a := range b.Red(now) {
			if a.Name != "the post of alarms" {
				require.True(t, reds[a.Name], "%s is red and was not told", a.Name)
			}
		}
		for _, w := range parts {
			w.why = ""
		}
		for range 120 {
			now = now.Add(time.Minute)
			require.NoError(t, b.Tell(t.Context(), now))
		}
		for _, said := range tellings {
			for _, o := range said.Over {
				delete(reds, o.Name)
			}
		}
		require.Empty(t, reds, "all is over, and was told")
		require.Empty(t, b.Red(now))
		require.Empty(t, keep.book.Alarms, "nothing is kept of what everybody knows")
	})
}

// memory keeps a book as the register does.
type memory struct{ book loops.AlarmBook }

func (m *memory) Alarms() (loops.AlarmBook, error)     { return m.book, nil }
func (m *memory) PutAlarms(book loops.AlarmBook) error { m.book = book; return nil }

// A way that does not work is an alarm, which the other way tells; what it could
// not tell it tells once it works. Its address is in no word of it.
func TestAWayThatFailsIsAnAlarm(t *testing.T) {
	t.Parallel()
	hears, other, mail := listening(t), listening(t), &work{why: "No mail leaves."}
	s := openStore(t, filepath.Join(t.TempDir(), "register.db"))
	hook, err := alarm.Webhook(other.URL+"/secret-topic", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	require.NoError(t, err)
	b, err := alarm.NewBoard(s, options(), []alarm.Way{hook, alarm.Post(hears.URL, "")}, mail.source("mail"))
	require.NoError(t, err)
	other.answers(http.StatusForbidden)
	require.NoError(t, b.Tell(t.Context(), noon))
	said := hears.told()
	require.Len(t, said, 1)
	assert.Contains(t, said[0], "The webhook of alarms, since")
	red := b.Red(noon)
	require.Len(t, red, 2)
	assert.Equal(t, "the webhook of alarms", red[1].Name)
	assert.Equal(t, "Nobody can be told of alarms by webhook: it answered 403 Forbidden.", red[1].Reason)

	for name, broken := range map[string]func(){
		"another place": func() { other.answers(http.StatusFound) },
		"nobody there":  other.Close,
	} {
		broken()
		require.NoError(t, b.Tell(t.Context(), noon.Add(time.Hour)), name)
		for _, a := range b.Red(noon.Add(time.Hour)) {
			assert.NotContains(t, a.Reason+a.Remedy, "secret-topic", name)
		}
	}
	book, err := s.Alarms()
	require.NoError(t, err)
	assert.Equal(t, noon, book.Ways[0].Failing)
	mail.why = ""
	back := listening(t)
	hook, err = alarm.Webhook(back.URL, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	require.NoError(t, err)
	b, err = alarm.NewBoard(s, options(), []alarm.Way{hook, alarm.Post(hears.URL, "")}, mail.source("mail"))
	require.NoError(t, err)
	require.NoError(t, b.Tell(t.Context(), noon.Add(2*time.Hour)))
	assert.Empty(t, b.Red(noon.Add(2*time.Hour)))
	assert.Len(t, back.told(), 1, "another place hears from the beginning")
}

// What is put down survives; what nobody else is to read is in no word.
func TestReasonsAreClean(t *testing.T) {
	t.Parallel()
	mail := &work{why: "550 ana@garden.example\x1b[2J is unknown."}
	opts := options()
	opts.Hide = func(text string) string { return strings.ReplaceAll(text, "ana@garden.example", "(address)") }
	hears := listening(t)
	b, err := alarm.NewBoard(openStore(t, filepath.Join(t.TempDir(), "register.db")), opts, []alarm.Way{alarm.Post(hears.URL, "k3y")}, mail.source("mail"))
	require.NoError(t, err)
	require.NoError(t, b.Tell(t.Context(), noon))
	said := hears.told()
	require.Len(t, said, 1)
	assert.NotContains(t, said[0], "ana@")
	assert.NotContains(t, said[0], "\x1b")
	assert.Equal(t, "Bearer k3y", hears.heads[0].Get("Authorization"))
}

// document is what a webhook and a command are given.
type document struct {
	Type      string    `json:"type"`
	Timestamp time.Time `json:"timestamp"`
	Data      struct {
		Workshop string `json:"workshop"`
		Hello    bool   `json:"hello"`
		Red      []struct {
			Name   string    `json:"name"`
			Reason string    `json:"reason"`
			Remedy string    `json:"remedy"`
			Since  time.Time `json:"since"`
			New    bool      `json:"new"`
		} `json:"red"`
		Over []struct {
			Name string `json:"name"`
		} `json:"over"`
	} `json:"data"`
}

func read(t *testing.T, text string) document {
	t.Helper()
	var d document
	require.NoError(t, json.Unmarshal([]byte(text), &d))
	return d
}
