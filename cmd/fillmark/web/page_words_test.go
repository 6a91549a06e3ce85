// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/alarm"
	"fillmark/cmd/fillmark/web"
)

// commandWords finds the name of a command, a flag or a setting, outside what is folded away
// for whoever looks after the computer.
func commandWords(page string) string {
	page = regexp.MustCompile(`(?s)<details class="help">.*?</details>`).ReplaceAllString(page, "")
	return regexp.MustCompile(`\bfillmark [a-z]+|\(--[a-z]+|<code>[a-z]+[._][a-z_]+`).FindString(page)
}

// Who works with pages is told in their words; commands belong to the doctor's
// page and to help.
func TestPagesNameNoCommands(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "fillmark check", commandWords(`<p>See fillmark check.</p>`))
	assert.Equal(t, "fillmark due", commandWords(`<details class="help">fillmark check</details><code>fillmark due</code>`))
	assert.Equal(t, "(--wall", commandWords(`<p>write it down (--wall)</p>`))
	assert.Equal(t, "<code>base_url", commandWords(`<p>Set <code>base_url</code>.</p>`))
	assert.Equal(t, "<code>mail.transport", commandWords(`<p>Set <code>mail.transport: smtp</code>.</p>`))
	b := newBench(t)
	file := b.ana()
	seen := 0
	look := func() {
		for pattern, r := range b.routes(file) {
			if !strings.HasPrefix(pattern, "GET ") || pattern == "GET /doctor" {
				continue
			}
			w := b.do(r)
			if !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
				continue
			}
			seen++
			assert.Empty(t, commandWords(w.Body.String()), "%s, status %d", pattern, w.Code)
		}
		assert.Equal(t, http.StatusOK, b.get("/").Code)
	}
	look()
	b.technician("Bo")
	b.signIn("Bo")
	look()
	assert.Greater(t, seen, 60)
}

// Nor do those of a bad day: a form that was refused and stands by itself, what is
// red on Due, and a write that nothing can take.
func TestPagesOfABadDayNameNoCommands(t *testing.T) {
	t.Parallel()
	pulse := web.NewPulse(10 * time.Minute)
	b := newBench(t, func(d *web.Deps) { d.Pulse = pulse })
	file := b.ana()
	w := b.act(file.Loop.Tag, "poured", url.Values{"drained": {"lots"}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "<h2>Record a top-up")
	assert.Empty(t, commandWords(w.Body.String()))
	tag := b.taken(url.Values{"who": {"Ilse, 5550100"}, "machine.kind": {"desktop"}, "intake.complaint": {"drips"}})
	require.Equal(t, http.StatusSeeOther, b.act(tag, "fill", url.Values{"fluid": {"pg"}, "poured": {"140"}, "mass": {"30"}, "inhibitor": {"oat"}}).Code)
	w = b.act(tag, "handover", url.Values{"page": {"refill"}})
	assert.Equal(t, http.StatusConflict, w.Code)
	assert.Contains(t, w.Body.String(), "nobody said how cold")
	assert.Empty(t, commandWords(w.Body.String()))
	pulse.Swept(b.now, 0, errors.New("bounces: permission denied"))
	page := b.get("/").Body.String()
	assert.Contains(t, page, "bounces: permission denied")
	assert.Empty(t, commandWords(page))
	// The way back from a register that is gone is made of commands.
	gone := alarm.Source{Name: "register", Check: func(time.Time) (string, string) { return "Nothing can be recorded.", "Use fillmark backup." }}
	var err error
	b.deps.Alarms, err = alarm.NewBoard(b.store, alarm.Options{}, nil, gone)
	require.NoError(t, err)
	b.handler, err = web.New(b.deps)
	require.NoError(t, err)
	page = b.get("/").Body.String()
	assert.Contains(t, page, "Nothing can be recorded.")
	assert.Empty(t, commandWords(page))
	require.NoError(t, os.Remove(b.path))
	w = b.act(file.Loop.Tag, "note", url.Values{"note": {"moves in May"}})
	assert.Equal(t, http.StatusInternalServerError, w.Code)
	assert.Contains(t, w.Body.String(), "removed or replaced")
	assert.Contains(t, w.Body.String(), "send it again: keep this page open and load it again", "going back finds an empty form")
	assert.Empty(t, commandWords(w.Body.String()))
	w = b.act(file.Loop.Tag, "note", url.Values{"page": {"refill"}, "note": {"moves in May"}})
	assert.Contains(t, w.Body.String(), "send it again: go back, what was typed is still there", "a job sheet keeps it")
}

// What a phone needs to keep the pages as an app of their own is there for
// whoever asks, and its icon is one that the program serves.
func TestManifestLeadsToTheBench(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Contains(t, b.get("/").Body.String(), `<link rel="manifest" href="/manifest.webmanifest">`)
	w := b.get("/manifest.webmanifest")
	assert.Equal(t, "application/manifest+json", w.Header().Get("Content-Type"))
	var m struct {
		Name  string `json:"name"`
		Start string `json:"start_url"`
		Icons []struct {
			Src, Type, Sizes string
		} `json:"icons"`
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &m))
	assert.Equal(t, "Fillmark", m.Name)
	assert.Equal(t, http.StatusOK, b.get(m.Start).Code)
	if assert.Len(t, m.Icons, 1) {
		icon := b.get(m.Icons[0].Src)
		assert.Equal(t, http.StatusOK, icon.Code)
		assert.Equal(t, m.Icons[0].Type, icon.Header().Get("Content-Type"))
	}
	assert.NotContains(t, b.get("/o/forged").Body.String(), "manifest", "owners keep no bench")
}
