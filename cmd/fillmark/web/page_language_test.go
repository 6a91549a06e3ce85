// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"html"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/words"
)

// englishAlone are the sentences of owners' pages in English, each without a place
// for something else: none of them stands on a page in another language.
func englishAlone(t *testing.T) []string {
	t.Helper()
	raw, err := os.ReadFile("../../../notify/words/en.json")
	require.NoError(t, err)
	var all map[string]any
	require.NoError(t, json.Unmarshal(raw, &all))
	var found []string
	for id, entry := range all {
		lead, _, _ := strings.Cut(id, ".")
		text, whole := entry.(string)
		if whole && len(text) > 10 && !strings.Contains(text, "%") && strings.Contains(" page heading button look leave bring ", " "+lead+" ") {
			found = append(found, text)
		}
	}
	require.Greater(t, len(found), 80)
	return found
}

// An owner's own pages are in their language, days and counts too; cautions stay
// English and say so.
func TestOwnersPagesSpeakTheirLanguage(t *testing.T) {
	t.Parallel()
	told := map[loops.Language]string{
		loops.German:     "Am Do., 3. Dez. 2026 haben Sie uns gesagt:",
		loops.Spanish:    "El jue 3 dic 2026 usted nos dijo:",
		loops.French:     "Le jeu. 3 déc. 2026, vous nous avez dit\u202f:",
		loops.Portuguese: "Em qui., 3 de dez. de 2026 disse-nos:",
	}
	for _, l := range loops.Languages()[1:] {
		t.Run(string(l), func(t *testing.T) {
			t.Parallel()
			ownersPagesSpeak(t, l, told[l])
		})
	}
}

func ownersPagesSpeak(t *testing.T, l loops.Language, told string) {
	t.Helper()
	b := newBench(t)
	file := b.register(machine{
		owner: loops.Owner{Name: "Ada Lind", Email: "ada@garden.example", Phone: "+49 30 000000", Zone: "Europe/Berlin", Language: l},
		name:  "der graue Turm", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200,
	})
	english, ws := englishAlone(t), words.In(l)
	speaks := func(page string, says ...string) {
		t.Helper()
		assert.Contains(t, page, `<html lang="`+string(l)+`">`)
		for _, sentence := range english {
			assert.NotContains(t, page, html.EscapeString(sentence))
		}
		for _, say := range says {
			assert.Contains(t, page, html.EscapeString(say))
		}
	}
	link := b.ownerLink(file.Owner)
	page := b.get(link).Body.String()
	first := workshop.NextTasks(file.Loop.Plan)[0]
	speaks(page, ws.Say("page.tell.title"), ws.Say("heading.look"), ws.Recorded("a new noise")[1:], ws.Day(first.Due), ws.Say("care.in-english"),
		ws.Say("page.workshop"), ws.Say("page.label", string(file.Loop.Tag)), ws.Say("page.warm.shows", "C"), ws.Say("page.mail.stop"))
	assert.Contains(t, page, `<p lang="en">`)
	for _, pressed := range []string{"fine", "off", "call"} {
		speaks(b.get(link+"?answer="+pressed).Body.String(), ws.Say("page.pressed."+pressed))
	}
	wrong := b.post(link, url.Values{"answer": {"pause"}, "on": {"soon"}})
	assert.Equal(t, http.StatusUnprocessableEntity, wrong.Code)
	problem, _, _ := strings.Cut(ws.Say("page.problem", "|"), "|")
	speaks(wrong.Body.String(), problem)
	require.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"off"}, "noticed": {"a new noise"}, "words": {"Es klackt."}}).Code)
	speaks(b.get(link).Body.String(), told, ws.Say("colon", ws.Recorded("something is off")), ws.Recorded("a new noise"), ws.Say("page.told.thanks"), "Es klackt.")

	stop, day := b.stopLink(file.Owner), ws.Day(loops.Day{Year: 2026, Month: time.December, Dom: 3})
	speaks(b.get(stop).Body.String(), ws.Say("page.stop.title"), ws.Say("page.stop.write-to"), "ada@garden.example")
	require.Equal(t, http.StatusSeeOther, b.post(stop, url.Values{"mail": {"stop"}}).Code)
	speaks(b.get(stop).Body.String(), ws.Say("page.stop.since", day))
	speaks(b.get(link).Body.String(), ws.Say("page.mail.stopped-on", day))
	speaks(b.post(link, url.Values{"links": {"end"}}).Body.String(), ws.Say("page.closed.heading"))
}

// The page that takes a temperature log speaks as the page that leads to it, before
// and after one was read.
func TestTheLogPageSpeaksTheOwnersLanguage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	page := b.ownerLink(b.ana().Owner) + "/log"
	settings := b.settings()
	for _, l := range loops.Languages()[1:] {
		settings.Language = l
		b.takesSettings(settings)
		ws := words.In(l)
		empty := b.get(page)
		read := b.sendsFile(page, "log", weeklyLog(3, func(int) float64 { return 61.5 })+"2026-11-01 00:00:00;1200;nothing\n", map[string]string{"room": "20"})
		require.Equal(t, http.StatusOK, read.Code, problemsIn(read))
		for _, say := range []string{ws.Say("log.title"), ws.Say("log.intro"), ws.Say("log.file"), ws.Say("log.room", "C"), ws.Say("log.mostly"), ws.Say("log.guess"), ws.Say("log.by-itself")} {
			b.says(empty, say, "before, in "+string(l))
		}
		for _, say := range []string{ws.Quoted("CPU temp"), ws.Say("log.left-out", "1 "+ws.Say("log.skip.no-number")), ws.Say("log.keep"), ws.Say("log.week"), "61,5", ws.Say("log.wrong")} {
			b.says(read, say, "after, in "+string(l))
		}
		for _, w := range []string{empty.Body.String(), read.Body.String()} {
			assert.Contains(t, w, `<html lang="`+string(l)+`">`)
			for _, english := range []string{"emperature log", "Read ", "Back<", "as it mostly", "we guess", "Left out", "armest hour", "the room", "Week"} {
				assert.NotContains(t, w, english, l)
			}
		}
	}
}

// A link that opens nothing tells nobody's language: it is the workshop's. The
// bench stays English.
func TestADeadLinkSpeaksTheWorkshopsLanguage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	dead := b.get("/o/forged")
	assert.Equal(t, http.StatusNotFound, dead.Code)
	assert.Contains(t, dead.Body.String(), `<html lang="en">`)
	assert.Contains(t, dead.Body.String(), "This link does not work")
	settings := b.settings()
	settings.Language = loops.German
	b.takesSettings(settings)
	for _, path := range []string{"/o/forged", "/stop/forged"} {
		dead = b.get(path)
		assert.Equal(t, http.StatusNotFound, dead.Code)
		assert.Contains(t, dead.Body.String(), `<html lang="de">`)
		assert.Contains(t, dead.Body.String(), "Dieser Link öffnet nichts")
	}
	assert.Contains(t, b.get(b.ownerLink(file.Owner)).Body.String(), "Sagen Sie es uns", "an owner who chose no language")
	for _, path := range []string{"/", "/loops/" + string(file.Loop.Tag), "/loops/" + string(file.Loop.Tag) + "/handover", "/nowhere"} {
		page := b.get(path).Body.String()
		assert.Contains(t, page, `<html lang="en">`, path)
		assert.NotContains(t, page, "Sie ", path)
	}
}
