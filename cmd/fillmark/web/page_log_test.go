// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"fmt"
	"html"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// weeklyLog is a log of so many weeks to noon, the warmest hour as given.
func weeklyLog(weeks int, warmest func(week int) float64) string {
	var log strings.Builder
	log.WriteString("Date and time;Fan;CPU temp\n")
	start := noon.Truncate(7*24*time.Hour).AddDate(0, 0, -7*weeks)
	for hours := range weeks * 7 * 24 {
		c := 35.0
		if hours%24 == 14 {
			c = warmest(hours / (7 * 24))
		}
		fmt.Fprintf(&log, "%s;1200;%.2f\n", start.Add(time.Duration(hours)*time.Hour).Format(time.DateTime), c)
	}
	return log.String()
}

// sendsFile posts a form with a file.
func (b *bench) sendsFile(path, field, file string, form map[string]string) *httptest.ResponseRecorder {
	b.Helper()
	var body bytes.Buffer
	parts := multipart.NewWriter(&body)
	for name, value := range form {
		require.NoError(b, parts.WriteField(name, value))
	}
	part, err := parts.CreateFormFile(field, "log.csv")
	require.NoError(b, err)
	_, err = part.Write([]byte(file))
	require.NoError(b, err)
	require.NoError(b, parts.Close())
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+path, &body)
	r.Header.Set("Content-Type", parts.FormDataContentType())
	return b.do(r)
}

// The tower of the fixture was proved at 60 °C in 20 °C under 90 W.
func TestOwnerSendsALog(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana()
	page := b.ownerLink(ana.Owner)
	b.says(b.get(page), page+"/log", "the way there")
	creeping := weeklyLog(26, func(week int) float64 { return 60 + 20*max(0, float64(week-13))/12 })
	w := b.sendsFile(page+"/log", "log", creeping, map[string]string{"room": "20"})
	require.Equal(t, http.StatusOK, w.Code, problemsIn(w))
	b.says(w, "from “CPU temp” at the times in “Date and time”", "the columns are guessed and shown")
	b.says(w, "Left out: nothing.", "what was skipped")
	assert.Empty(t, logsOf(b, ana.Loop.Tag), "nothing is kept before it is confirmed")
	keep := regexp.MustCompile(`name="keep" value="([^"]*)"`).FindStringSubmatch(w.Body.String())
	require.Len(t, keep, 2)
	w = b.post(page+"/log", url.Values{"keep": {html.UnescapeString(keep[1])}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	require.Len(t, logsOf(b, ana.Loop.Tag), 1)

	// It is in the plan with its reason, on the owner's page in their words, and
	// on the loop's page with its interval.
	file := b.file(ana.Loop.Tag)
	a := schedule.AfarOf(file.History)
	require.NotNil(t, a.Logged)
	var found loops.Clause
	for _, task := range file.Loop.Plan.Tasks {
		for _, c := range task.Clauses {
			if task.Kind == loops.ServiceCheck && strings.Contains(c.Text, "By its temperature logs") {
				found = c
			}
		}
	}
	assert.Contains(t, found.Text, "% above their first 13 weeks")
	assert.Equal(t, a.Logged.Day, found.Day)
	b.says(b.get(page), "warmer than on that day", "the owner's page")
	loop := b.get("/loops/" + string(ana.Loop.Tag))
	b.says(loop, "Since the proof", "the plot")
	b.says(loop, `class="band"`, "its interval")
	b.says(loop, "Temperature log: 4368 values in 26 weeks", "the history")
}

func logsOf(b *bench, tag loops.Tag) (logs []loops.Entry) {
	for _, e := range b.file(tag).History {
		if e.Kind == loops.KindLog {
			logs = append(logs, e)
		}
	}
	return logs
}

func TestLogThatCannotBeRead(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana()
	path := "/loops/" + string(ana.Loop.Tag) + "/log"
	for name, c := range map[string]struct {
		file, want string
		form       map[string]string
	}{
		"no room":            {"time,temp\n0,50\n", "a figure; the field is empty", nil},
		"no temperature":     {"time,load\n0,1\n", "one with the temperature; name it", map[string]string{"room": "20"}},
		"a column not there": {"time,temp\n0,50\n", "one with the temperature; name it", map[string]string{"room": "20", "temperature": "gpu"}},
		"no values":          {"time,temp\n0,65535\n", "an instrument&#39;s sign for no reading", map[string]string{"room": "20"}},
		"kelvin as room":     {"time,temp\n0,50\n", "", map[string]string{"room": "-3 K"}},
	} {
		w := b.sendsFile(path, "log", c.file, c.form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		assert.Contains(t, w.Body.String(), c.want, name)
	}
	w := b.post(path, url.Values{"keep": {`{"room_c":20,"weeks":[],"time":"t","temperature":"c","read":1}`}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Empty(t, logsOf(b, ana.Loop.Tag))
}

func TestMachineSendsItsLog(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana()
	line := html.UnescapeString(b.get("/loops/" + string(ana.Loop.Tag) + "/log").Body.String())
	found := regexp.MustCompile(`curl --data-binary @temperatures.csv 'https://pages.workshop.example(/log/[^']*)'`).FindStringSubmatch(line)
	require.Len(t, found, 2)
	send := func(path, body string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded") // as curl says
		return b.do(r)
	}
	prom := fmt.Sprintf("# TYPE node_temp gauge\nnode_temp{chip=\"a b\"} 61.5 %d\n", noon.Add(-time.Hour).UnixMilli())
	w := send(found[1], prom)
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	assert.Contains(t, w.Body.String(), "as Prometheus text; skipped: nothing. Kept.")
	w = send(found[1], fmt.Sprintf(`[{"time": %d, "temp": 62}]`, noon.Unix()))
	assert.Contains(t, w.Body.String(), "A log of this week is on record already")
	require.Len(t, logsOf(b, ana.Loop.Tag), 1)
	assert.Equal(t, workshop.ByLogLink, logsOf(b, ana.Loop.Tag)[0].By)
	b.now = b.now.AddDate(0, 0, 7)
	w = send(found[1], fmt.Sprintf(`[{"time": %d, "temp": 62}, {"time": %d, "temp": -400}]`, b.now.Unix(), b.now.Unix()))
	assert.Contains(t, w.Body.String(), "1 below absolute zero. Kept.")
	// One that sends it over and over is held back, as an owner is.
	for range 5 {
		require.Equal(t, http.StatusOK, send(found[1], prom).Code)
	}
	w = send(found[1], prom)
	assert.Equal(t, http.StatusTooManyRequests, w.Code)
	assert.NotEmpty(t, w.Header().Get("Retry-After"))
	b.now = b.now.Add(time.Hour)
	// The link opens nothing else, no other link opens it, and of nobody else's loop.
	token := strings.Split(found[1], "/")[2]
	assert.Equal(t, http.StatusNotFound, b.get("/o/"+token).Code)
	assert.Equal(t, http.StatusNotFound, send("/log/"+strings.TrimPrefix(b.ownerLink(ana.Owner), "/o/")+"/"+string(ana.Loop.Tag)+"?room=20", prom).Code)
	other := b.register(machine{owner: loops.Owner{Name: "Bo Marsh"}, name: "box", kind: loops.Desktop, fluid: "pg", mass: .35, wall: -10, daysAgo: 100})
	assert.Equal(t, http.StatusNotFound, send("/log/"+token+"/"+string(other.Loop.Tag)+"?room=20", prom).Code)
	w = send(strings.Replace(found[1], "room=22", "room=warm", 1), prom)
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "room")
}

func TestOwnerReadsATemperature(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana()
	page := b.ownerLink(ana.Owner)
	b.says(b.get(page), "It shows, °C", "the field")
	w := b.post(page, url.Values{"answer": {"fine"}, "die": {"61"}, "ran": {"heavy work"}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, "how warm the room was", "what lacks")
	b.says(w, `value="61"`, "what was typed stays")
	w = b.post(page, url.Values{"answer": {"fine"}, "die": {"61,5"}, "room": {"21"}, "ran": {"heavy work"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	b.says(b.get(page), "it ran as on the day you got it back", "in their words")
	b.says(b.get("/loops/"+string(ana.Loop.Tag)), "It showed 61.5 °C in a room at 21.0 °C under heavy work.", "the history")
	assert.Len(t, schedule.AfarOf(b.file(ana.Loop.Tag).History).Answers, 1)
}
