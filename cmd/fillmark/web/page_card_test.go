// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/notify/words"
)

// The card says what was and what is, and its one code is the owner's own page;
// where no phone reaches the pages there is none, and the setting is named.
func TestCardToTakeHome(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	w := b.get("/loops/" + tag + "/card")
	require.Equal(t, http.StatusOK, w.Code)
	for _, say := range []string{"At the same work its processor was at <strong>85\u00a0°C</strong>, now it is at", "<strong>60\u00a0°C</strong>", "the grey tower", "How to look it over", "QR code of your own page", "coldest wall"} {
		b.says(w, say, "card")
	}
	assert.Equal(t, 1, strings.Count(w.Body.String(), "QR code"))
	b.says(b.get("/loops/"+tag+"/handover"), "Card to take home", "the sheet leads to it")

	for _, base := range []string{"http://127.0.0.1:8377", "http://localhost:8377", "http://[::1]:8377", "http://0.0.0.0:8377"} {
		settings := b.settings()
		settings.BaseURL = base
		b.takesSettings(settings)
		w = b.get("/loops/" + tag + "/card")
		assert.NotContains(t, w.Body.String(), "QR code", base)
		b.says(w, "<code>base_url</code>", base)
		label := b.get("/loops/" + tag + "/label")
		assert.NotContains(t, label.Body.String(), "QR code", base)
		b.says(label, "<code>base_url</code>", base)
		assert.NotContains(t, b.get("/loops/"+tag+"/refill").Body.String(), "QR code", base)
	}
	donor := b.taken(url.Values{"machine.kind": {string(loops.DonorUnit)}, "intake.complaint": {"none"}})
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/loops/"+string(donor)+"/card").Code)
}

// What it was and is are of one proof, at the same power and in the same room: a
// hot day in August beside a cool one in October says nothing of a repair. Where no
// proof stands the card compares nothing.
func TestCardComparesLikeWithLike(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	card := func(tag loops.Tag) string { return b.get("/loops/" + string(tag) + "/card").Body.String() }
	tag := b.filled() // taken in with 91 °C at 120 W in a room of 22 °C
	after := url.Values{"die": {"62"}, "room": {"18"}, "power": {"90"}, "steady": {"yes"}, "verdict": {"good"}}
	require.Equal(t, http.StatusSeeOther, b.act(tag, "proof", after).Code)
	assert.Contains(t, card(tag), "At the same work its processor was at <strong>70\u00a0°C</strong>")
	assert.Contains(t, card(tag), "<strong>62\u00a0°C</strong>")

	proved := b.ana().Loop.Tag
	require.Equal(t, http.StatusSeeOther, b.act(proved, "intake", url.Values{"complaint": {"hot"}}).Code)
	require.Equal(t, http.StatusSeeOther, b.act(proved, "drain", url.Values{"drained": {"470"}}).Code)
	require.Equal(t, http.StatusSeeOther, b.act(proved, "fill", url.Values{"fluid": {"pg"}, "poured": {"470"}, "mass": {"35"}, "inhibitor": {"oat"}}).Code)
	assert.NotContains(t, card(proved), "its processor was at", "filled since, nothing is proved")
}

// An owner takes the card home, so it is in their language, on a page of the bench,
// which is not; cautions stay English and say so.
func TestCardInTheOwnersLanguage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	settings := b.settings()
	was := map[loops.Language]string{
		loops.German:     "Bei gleicher Arbeit war sein Prozessor bei <strong>85\u00a0°C</strong>, jetzt ist er bei",
		loops.Spanish:    "Con el mismo trabajo, su procesador estaba a <strong>85\u00a0°C</strong>, ahora está a",
		loops.French:     "À travail égal, son processeur était à <strong>85\u00a0°C</strong>, maintenant il est à",
		loops.Portuguese: "Com o mesmo trabalho, o processador estava a <strong>85\u00a0°C</strong>, agora está a",
	}
	for _, l := range loops.Languages()[1:] {
		settings.Language = l
		b.takesSettings(settings)
		w, ws := b.get("/loops/"+tag+"/card"), words.In(l)
		proved, _, _ := strings.Cut(ws.Say("proved", "|"), "|")
		gaugeSays, _, _ := strings.Cut(ws.Say("card.gauge.says", "|"), "|")
		for _, say := range []string{
			`<html lang="en">`, `<div class="sheet-a4 card-home" lang="` + string(l) + `">`, was[l], ws.Say("card.next"), ws.Say("heading.look"),
			ws.Say("page.look.listen-feel"), ws.Say("card.qr"), ws.Say("care.in-english"), ws.Say("page.label", tag), proved, `<p lang="en">`, "Hand-over sheet",
			ws.Say("card.gauge.axis"), ">" + ws.Say("card.gauge.wall") + "<", ">" + ws.Say("card.gauge.point") + "<", ` aria-label="` + gaugeSays,
		} {
			b.says(w, say, "card in "+string(l))
		}
		for _, english := range []string{"its processor was", "<h2>Next", "Whoever scans", "How to look", "Take care", "Proved on", "Its label", "How cold", "The repair is proved", "the die reads", "freeze point", "coldest wall", "Temperature"} {
			assert.NotContains(t, w.Body.String(), english, l)
		}
	}
}

// proofs are what the card that goes home says of a repair, whole and in its parts,
// as inspection writes it.
func proofs(t *testing.T) (texts []string) {
	t.Helper()
	reading := func(die, room chemistry.Celsius, power inspection.Watt, steady bool) inspection.Reading {
		return inspection.Reading{Die: &die, Room: &room, Power: &power, Steady: steady}
	}
	good := reading(60, 20, 90, true)
	for _, before := range []inspection.Reading{reading(85, 20, 90, true), reading(85, 20, 90, false), reading(85, 29, 90, true), reading(85, 29, 90, false)} {
		p, err := inspection.Prove(before, good)
		require.NoError(t, err)
		require.True(t, p.Proved)
		texts = append(texts, p.Sentence(), p.Text)
		if _, rest, more := strings.Cut(p.Text, "would have been "); more {
			if _, rest, more = strings.Cut(rest, ". "); more {
				texts = append(texts, rest)
			}
		}
	}
	chiller := func(in, out chemistry.Celsius) inspection.Reading {
		return inspection.Reading{CoolantIn: &in, CoolantOut: &out, Set: new(chemistry.Celsius(15)), Room: new(chemistry.Celsius(22)), Power: new(inspection.Watt(500)), Steady: true}
	}
	for _, before := range []inspection.Reading{chiller(22, 26), chiller(22, 40)} {
		p, err := inspection.ProveChiller(before, chiller(15, 19))
		require.NoError(t, err)
		require.True(t, p.Proved)
		texts = append(texts, p.Sentence(), p.Text)
		if _, rest, more := strings.Cut(p.Text, "asked for. "); more {
			texts = append(texts, rest)
		}
	}
	return texts
}

// Whatever a proof says is said in each language, with its figures.
func TestProofsInTheOwnersLanguage(t *testing.T) {
	t.Parallel()
	for _, l := range loops.Languages()[1:] {
		for _, text := range proofs(t) {
			said := words.In(l).Recorded(text)
			for _, english := range []string{"repair", "before", "after", " with ", "room", "asked", "uncertainty", "climbing", "flows"} {
				assert.NotContains(t, said, english, l)
			}
		}
	}
}

// A day that has passed is never next: not to an owner, not on paper.
func TestNoPastDayIsNext(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag := string(file.Loop.Tag)
	past := regexp.MustCompile(`(?i)next(</h2>|</strong>|</span>|:)[^.]*days? (ago|over)`)
	for _, path := range []string{b.ownerLink(file.Owner), "/loops/" + tag + "/handover", "/loops/" + tag + "/card", "/loops/" + tag + "/label"} {
		body := b.get(path).Body.String()
		assert.NotRegexp(t, past, body, path)
	}
	b.says(b.get(b.ownerLink(file.Owner)), "<strong>Now:</strong>", "what is due already")
	b.says(b.get("/loops/"+tag+"/label"), "now, since", "what is due already")
}

// Whoever pressed an answer in a mail finds that answer first, and what was told
// last month below it.
func TestPressedAnswerIsWhatThePageIsAbout(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	link := b.ownerLink(b.ana().Owner)
	require.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"off"}, "words": {"it hums"}}).Code)
	for pressed, asks := range map[string]string{"fine": "All looks fine?", "off": "Something is off?", "call": "Would you like us to call you?"} {
		body := b.get(link + "?answer=" + pressed).Body.String()
		at, told := strings.Index(body, asks), strings.Index(body, "On record")
		require.Positive(t, at, pressed)
		assert.Greater(t, told, at, pressed)
		assert.Equal(t, 1, strings.Count(body, `class="first"`), "one button that stands out, %s", pressed)
	}
	assert.NotContains(t, b.get(link+"?answer=hostile").Body.String(), `class="pressed"`)
}
