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

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/words"
)

// germanOf are the sentences of owners' pages that differ from the English ones,
// each without a place for something else.
func germanOf(t *testing.T) map[string]string {
	t.Helper()
	raw, err := os.ReadFile("../../../notify/words/en.json")
	require.NoError(t, err)
	var all map[string]any
	require.NoError(t, json.Unmarshal(raw, &all))
	german, found := words.In(loops.German), map[string]string{}
	for id, entry := range all {
		lead, _, _ := strings.Cut(id, ".")
		text, whole := entry.(string)
		if whole && len(text) > 10 && !strings.Contains(text, "%") && strings.Contains(" page heading button look leave bring ", " "+lead+" ") {
			found[text] = german.Say(id)
		}
	}
	require.Greater(t, len(found), 80)
	return found
}

// An owner's own pages are in their language, days and counts too; cautions stay
// English and say so.
func TestOwnersPagesSpeakTheirLanguage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.register(machine{
		owner: loops.Owner{Name: "Ada Lind", Email: "ada@garden.example", Phone: "+49 30 000000", Zone: "Europe/Berlin", Language: loops.German},
		name:  "der graue Turm", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200,
	})
	sentences, german := germanOf(t), words.In(loops.German)
	speaks := func(page string, says ...string) {
		t.Helper()
		assert.Contains(t, page, `<html lang="de">`)
		for english := range sentences {
			assert.NotContains(t, page, html.EscapeString(english))
		}
		for _, say := range says {
			assert.Contains(t, page, html.EscapeString(say))
		}
	}
	link := b.ownerLink(file.Owner)
	page := b.get(link).Body.String()
	first := workshop.NextTasks(file.Loop.Plan)[0]
	speaks(page, "Sagen Sie es uns", "So sehen Sie nach", "Ein neues Geräusch", german.Day(first.Due), "Diese Hinweise stehen hier auf Englisch", "Ihre Werkstatt",
		"Auf dem Etikett steht "+string(file.Loop.Tag)+".", "Es zeigt, °C", "Alle Mails abbestellen")
	assert.Contains(t, page, `<p lang="en">`)
	for _, pressed := range []string{"fine", "off", "call"} {
		speaks(b.get(link+"?answer="+pressed).Body.String(), german.Say("page.pressed."+pressed))
	}
	wrong := b.post(link, url.Values{"answer": {"pause"}, "on": {"soon"}})
	assert.Equal(t, http.StatusUnprocessableEntity, wrong.Code)
	speaks(wrong.Body.String(), "Noch nicht gesendet.")
	require.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"off"}, "noticed": {"a new noise"}, "words": {"Es klackt."}}).Code)
	speaks(b.get(link).Body.String(), "Am Do., 3. Dez. 2026 haben Sie uns gesagt:", "etwas stimmt nicht", "ein neues Geräusch", "Vielen Dank.", "Es klackt.")

	stop := b.stopLink(file.Owner)
	speaks(b.get(stop).Body.String(), "Mails zu Ihren Geräten", "Wir schreiben Ihnen an", "ada@garden.example")
	require.Equal(t, http.StatusSeeOther, b.post(stop, url.Values{"mail": {"stop"}}).Code)
	speaks(b.get(stop).Body.String(), "Seit Do., 3. Dez. 2026 senden wir Ihnen keine Mails.")
	speaks(b.get(link).Body.String(), "Sie haben unsere Mails am Do., 3. Dez. 2026 abbestellt.")
	speaks(b.post(link, url.Values{"links": {"end"}}).Body.String(), "Ihre Links sind geschlossen")
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
	assert.Contains(t, dead.Body.String(), "This link does not open anything")
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
