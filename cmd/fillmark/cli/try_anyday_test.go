// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http/httptest"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-message"
	msgdkim "github.com/emersion/go-msgauth/dkim"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/demo"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/testdata/seeded"
)

// testNow is the time in tests that need one: always the same.
func testNow() time.Time { return time.Date(2026, time.November, 28, 12, 0, 0, 0, time.UTC) }

// What is promised of `fillmark try` on every day: README says what it shows,
// and .ci holds the letters and the pages against what they are for.
const (
	// Owners who are mailed: .ci/run asks check_mail.py for so many.
	promisedOwners = 6
	// Owners who can answer that all is fine: .ci/browser/jobs.mjs does so four
	// times, each time as another, and needs one more who has an answer to give.
	promisedLooks = 5
)

// walked is one time that the scenario is run at.
type walked struct {
	day  loops.Day
	hour int
	zone string // the workshop's
}

func (w walked) String() string { return fmt.Sprintf("%s %02d h %s", w.day, w.hour, w.zone) }

// walk lists the times. In full it is 800 days on end; the hours and zones
// differ from one to the next, so that no pair of them is left out. Else it is
// days at which calendars are known to trip programs.
func walk(full bool) []walked {
	zones := []string{"Europe/Lisbon", "Pacific/Auckland", "America/Santiago", "Europe/Berlin", "Asia/Kolkata", "America/Toronto", "Australia/Lord_Howe"}
	chosen := []string{
		"2026-11-28", "2027-03-01", "2028-02-29", // .ci/run opens the pages on these
		"2026-12-31", "2027-01-01", "2027-01-31", "2027-02-28", "2027-04-30", "2027-05-31", "2027-06-30", "2027-08-31", "2027-10-31", "2027-12-31",
		"2028-02-28", "2028-03-01", "2028-12-31", "2029-02-28", // month ends, and around a leap day
		"2027-03-14", "2027-03-28", "2027-03-29", "2027-04-04", "2027-09-26", "2027-11-07", "2028-10-29", // clocks change
		"2027-07-15", "2027-09-06", "2100-02-28", "2100-03-01", // a century without leap day
		firstDemoDay, lastDemoDay,
	}
	var days []loops.Day
	for _, text := range chosen {
		day, err := demoDay(text)
		if err != nil {
			panic(err)
		}
		days = append(days, day)
	}
	if full {
		for n := range 800 {
			days = append(days, days[0].AddDays(n))
		}
	}
	var all []walked
	for n, day := range days {
		all = append(all, walked{day, 12, zones[0]}) // as --today does
		if !full || n < len(chosen) {
			all[n] = walked{day, (12 + 7*n) % 24, zones[n%len(zones)]}
		} else if n%2 == 1 {
			all[n].hour = n * 5 % 24
		}
	}
	return all
}

// TestCampaignAnyDay runs `fillmark try` in this process on 30 chosen days,
// and with FILLMARK_CAMPAIGN=full on 800 days on end as well, and holds each
// against all that is promised of it.
func TestCampaignAnyDay(t *testing.T) {
	t.Parallel()
	times := walk(seeded.Long())
	if testing.Short() {
		times = times[:4]
	}
	t.Logf("%d days", len(times))
	for _, at := range times {
		t.Run(at.String(), func(t *testing.T) {
			t.Parallel()
			tryAt(t, at).holds(t)
		})
	}
}

// tried is what `fillmark try` left on a day.
type tried struct {
	house   *daemon.Service
	said    string
	folder  string
	owners  []string          // who got reminders
	answers map[string]string // the link to answer with, by who got it
	stop    string            // a link that stops the mail
}

// tryAt runs the scenario and reads its letters.
func tryAt(t *testing.T, at walked) tried {
	t.Helper()
	c := demo.Config(daemon.DefaultConfig(nil))
	c.Workshop.Zone = at.zone
	c.BaseURL, c.ReadHere = "http://"+c.Listen, true // as where the pages are served
	now := at.day.At(at.hour, c.Zone())
	var said bytes.Buffer
	made := tried{folder: t.TempDir(), answers: map[string]string{}}
	a := &app{out: &said, errOut: io.Discard, now: func() time.Time { return now }}
	c.OpenBench = true
	h, err := a.runScenario(t.Context(), made.folder, c)
	require.NoError(t, err)
	made.house, made.said = h, said.String()
	t.Cleanup(func() {
		assert.NoError(t, h.Close())
		h = nil // this function stays until all days are over, and a house with it
	})
	made.read(t, c)
	return made
}

// read verifies every letter against the record, and nothing else, and notes
// whom it reminds and what links it has.
func (m *tried) read(t *testing.T, c daemon.Config) {
	t.Helper()
	record, err := os.ReadFile(filepath.Join(m.folder, "dkim-dns.txt"))
	require.NoError(t, err)
	files, err := os.ReadDir(filepath.Join(m.folder, "mail", "new"))
	require.NoError(t, err)
	for _, file := range files {
		raw, err := os.ReadFile(filepath.Join(m.folder, "mail", "new", file.Name()))
		require.NoError(t, err)
		found, err := msgdkim.VerifyWithOptions(bytes.NewReader(raw), &msgdkim.VerifyOptions{
			LookupTXT: func(string) ([]string, error) { return []string{strings.TrimSpace(string(record))}, nil },
		})
		require.NoError(t, err)
		require.Len(t, found, 1)
		require.NoError(t, found[0].Err)
		to, text := letter(t, raw)
		if to == c.Mail.Technician {
			continue
		}
		m.stop = firstGroup(`(/stop/[\w-]+)`, text, m.stop)
		if link := firstGroup(`(/o/[\w-]+)\?answer=`, text, ""); link != "" {
			m.answers[to] = link
			m.owners = append(m.owners, to)
		}
	}
	slices.Sort(m.owners)
	m.owners = slices.Compact(m.owners)
}

// letter is whom a letter is to and what its plain text says.
func letter(t *testing.T, raw []byte) (to, text string) {
	t.Helper()
	entity, err := message.Read(bytes.NewReader(raw))
	require.NoError(t, err)
	address, err := mail.ParseAddress(entity.Header.Get("To"))
	require.NoError(t, err)
	require.NoError(t, entity.Walk(func(_ []int, part *message.Entity, err error) error {
		if err != nil {
			return err
		}
		if kind, _, _ := part.Header.ContentType(); kind == "text/plain" {
			plain, err := io.ReadAll(part.Body)
			text += string(plain)
			return err
		}
		return nil
	}))
	return address.Address, text
}

func firstGroup(pattern, text, otherwise string) string {
	if found := regexp.MustCompile(pattern).FindStringSubmatch(text); found != nil {
		return found[1]
	}
	return otherwise
}

// page asks for a page as somebody at this computer does.
func (m tried) page(t *testing.T, path string) string {
	t.Helper()
	request := httptest.NewRequestWithContext(t.Context(), "GET", "http://127.0.0.1"+path, nil)
	request.RemoteAddr = "127.0.0.1:40000"
	answer := httptest.NewRecorder()
	m.house.Handler.ServeHTTP(answer, request)
	assert.Equal(t, 200, answer.Code, "%s: %s", path, answer.Body)
	return answer.Body.String()
}

func (m tried) holds(t *testing.T) {
	m.saysWhatREADMEShows(t)
	m.mailsOwners(t)
	m.opensPages(t)
}

// saysWhatREADMEShows looks for each step of the transcript in README and for
// what it is there to show.
func (m tried) saysWhatREADMEShows(t *testing.T) {
	t.Helper()
	for _, line := range []string{
		`an invented workshop, on [A-Z][a-z]{2} \d+ [A-Z][a-z]{2} \d{4}\n`, `▐ 1  Mix for a loop whose coldest wall sees`, `first ice`,
		`▐ 2  Registered: \d+ owners, \d+ machines`, `▐ 3  What is in the loops`, `opened: clog`, `▐ 4  Check a top-up of [0-9A-Z]{6} `,
		`with water: GO\.`, `with pg:95%: STOP\. Never mix`, `▐ 5  Swept every hour since yesterday: \d+ reminders composed, \d+ signed and delivered`,
		`▐ 6  The technician's list: [1-9]\d* overdue, \d+ today, [1-9]\d* this week, [1-9]\d* to call`, `\d+ charges on record clogged`, `Pattern or\s+chance\?`,
	} {
		assert.Regexp(t, line, m.said)
	}
}

// mailsOwners holds the letters against what .ci does with them.
func (m tried) mailsOwners(t *testing.T) {
	t.Helper()
	assert.GreaterOrEqual(t, len(m.owners), promisedOwners, "owners who are reminded: %v", m.owners)
	looks := 0
	for _, owner := range m.owners {
		page := m.page(t, m.answers[owner]+"?answer=fine")
		if strings.Contains(page, ">All looks fine</button>") {
			looks++
		}
		calendar := firstGroup(`href="(/o/[\w-]+/calendar\.ics)"`, page, "")
		if assert.NotEmpty(t, calendar, "the calendar of %s", owner) {
			assert.Contains(t, m.page(t, calendar), "BEGIN:VEVENT", "the calendar of %s", owner)
		}
	}
	assert.GreaterOrEqual(t, looks, promisedLooks, "owners who can answer that all is fine, of %v", m.owners)
	if assert.NotEmpty(t, m.stop, "a link that stops the mail") {
		m.page(t, m.stop)
	}
}

// opensPages opens what the browser opens: .ci/browser/pages.mjs lists the
// pages, check.mjs and prints.mjs pick the loops.
func (m tried) opensPages(t *testing.T) {
	t.Helper()
	var register struct{ Items []workshop.LoopLine }
	require.NoError(t, json.Unmarshal([]byte(m.page(t, "/api/v1/loops")), &register))
	require.NotEmpty(t, register.Items)
	opened := slices.IndexFunc(register.Items, func(l workshop.LoopLine) bool { return l.State.Cause != "" })
	printed := slices.IndexFunc(register.Items, func(l workshop.LoopLine) bool {
		return l.OwnerName != "" && l.Sealed && l.NextTask != "" && l.State.Charge != nil && l.State.Charge.Fluid == "pg" && l.State.Cause == ""
	})
	require.NotEqual(t, -1, opened, "an opened loop")
	require.NotEqual(t, -1, printed, "a sealed loop with something planned")
	assert.Contains(t, m.page(t, "/openings/of/"+string(register.Items[opened].Tag)), "clog")
	for _, i := range []int{0, printed} {
		loop := "/loops/" + string(register.Items[i].Tag)
		for _, path := range []string{"", "/refill", "/edit", "/label", "/label?size=a4", "/handover", "/receipt", "/letter"} {
			m.page(t, loop+path)
		}
	}
	for _, path := range []string{
		"/", "/day", "/loops", "/loops?q=the", "/topup", "/intake", "/openings", "/openings/questions", "/openings/vendor", "/more", "/owners",
		"/owners/1", "/outbox", "/shelf", "/recall", "/settings",
	} {
		m.page(t, path)
	}
}

// With --today the clock begins at the workshop's noon and runs on, so that
// pages, sweeps and links all see the same day.
func TestTodayIsAClock(t *testing.T) {
	t.Parallel()
	machine := time.Date(2031, 5, 6, 23, 59, 0, 0, time.UTC)
	a := &app{now: func() time.Time { return machine }}
	day, err := demoDay("2028-02-29")
	require.NoError(t, err)
	there, here := a.on(day), a.on(loops.Day{})
	assert.Equal(t, "2028-02-29T12:00:00Z", there.now().UTC().Format(time.RFC3339), "noon in Lisbon")
	machine = machine.Add(13 * time.Hour)
	assert.Equal(t, "2028-03-01T01:00:00Z", there.now().UTC().Format(time.RFC3339), "13 hours later")
	assert.Equal(t, machine, here.now(), "without a day it is the machine's")
}
