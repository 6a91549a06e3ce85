// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify/links"
)

func TestOwnerAnswers(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		form url.Values
		want loops.Answer
		says string
	}{
		{"all fine", url.Values{"answer": {"fine"}}, loops.Answer{Answer: loops.AllFine}, "all fine"},
		{"off, in words", url.Values{"answer": {"off"}, "words": {"It gurgles.\r\nSince Monday. "}}, loops.Answer{Answer: loops.SomethingOff, Words: "It gurgles.\nSince Monday."}, "It gurgles."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			file := b.ana()
			link := b.ownerLink(file.Owner)
			w := b.post(link+"?answer=fine", tt.form)
			require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
			assert.Equal(t, link, w.Header().Get("Location"))
			assert.Equal(t, 1, b.wakes)

			entry := b.file(file.Loop.Tag).History[4]
			assert.Equal(t, loops.KindAnswer, entry.Kind)
			assert.Equal(t, "owner", entry.By)
			assert.Equal(t, tt.want.Answer, entry.Answer.Answer)
			assert.Equal(t, tt.want.Words, entry.Answer.Words)
			assert.Contains(t, entry.Answer.Tasks, loops.Look)

			page := b.get(link).Body.String()
			assert.Contains(t, page, "On Thu 3 Dec 2026 you told us")
			assert.Contains(t, page, tt.says)
		})
	}
}

// An owner names a day, wants a while without reminders, or tells what a person
// must take up; each is on record as it was said, and nothing else is.
func TestOwnerNamesADayOrTellsWhatChanged(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		form  url.Values
		says  string
		state func(loops.State) bool
	}{
		{url.Values{"answer": {"day"}, "on": {"2026-12-10"}}, "I can bring it on Thu 10 Dec 2026",
			func(s loops.State) bool { return s.Agreed.String() == "2026-12-10" && s.AskedFor == loops.ProposeDay }},
		{url.Values{"answer": {"pause"}, "on": {"2026-12-17"}}, "pause until Thu 17 Dec 2026",
			func(s loops.State) bool { return s.QuietUntil.String() == "2026-12-17" && s.Asked.IsZero() }},
		{url.Values{"answer": {"moved"}}, "I have moved", func(s loops.State) bool { return s.AskedFor == loops.Moved }},
		{url.Values{"answer": {"sold"}}, "it is sold", func(s loops.State) bool { return s.AskedFor == loops.PassedOn }},
		{url.Values{"answer": {"elsewhere"}}, "it was done elsewhere", func(s loops.State) bool { return s.AskedFor == loops.Elsewhere }},
	} {
		b := newBench(t)
		file := b.ana()
		link := b.ownerLink(file.Owner)
		w := b.post(link, tt.form)
		require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
		now := b.file(file.Loop.Tag)
		require.Len(t, now.History, 5, "an answer, and no record of work")
		assert.Equal(t, tt.says, now.History[4].Answer.Said())
		assert.True(t, tt.state(now.Loop.State), tt.says)
		assert.Contains(t, b.get(link).Body.String(), "<strong>"+tt.says+"</strong>")
	}
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	for _, form := range []url.Values{
		{"answer": {"day"}}, {"answer": {"day"}, "on": {"soon"}}, {"answer": {"day"}, "on": {"2026-12-03"}}, {"answer": {"day"}, "on": {"2027-12-03"}},
		{"answer": {"pause"}, "on": {"2026-12-02"}}, {"answer": {"sold"}, "on": {"2026-12-10"}},
	} {
		w := b.post(link, form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, form)
		assert.Contains(t, w.Body.String(), "Not sent yet")
	}
	assert.Len(t, b.file(file.Loop.Tag).History, 4)
}

// What can be ticked depends on the loop: nobody looks for the level of a
// sealed one, and an answer about all machines tells each only what it can show.
func TestOwnerTicksWhatIsOff(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	sealed := b.ana()
	link := b.ownerLink(sealed.Owner)
	page := b.get(link + "?answer=off").Body.String()
	assert.Contains(t, page, `value="`+string(loops.NoticeWet)+`"`)
	assert.NotContains(t, page, string(loops.NoticeLevel))
	before := b.bytesOnDisk()
	w := b.post(link, url.Values{"answer": {"off"}, "noticed": {string(loops.NoticeNoise), string(loops.NoticeLevel)}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), `value="`+string(loops.NoticeNoise)+`" checked`, "what was ticked comes back")
	w = b.post(link, url.Values{"answer": {"fine"}, "noticed": {string(loops.NoticeNoise)}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Equal(t, before, b.bytesOnDisk())

	open := b.register(machine{owner: sealed.Owner, name: "the white cube", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200, open: true})
	assert.Contains(t, b.get(link+"?answer=off").Body.String(), string(loops.NoticeLevel))
	form := url.Values{"answer": {"off"}, "noticed": {string(loops.NoticeLevel), string(loops.NoticeWet), string(loops.NoticeWet)}}
	for range 2 { // a double click is one answer
		w = b.post(link, form)
		require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	}
	history := b.file(open.Loop.Tag).History
	require.Len(t, history, 5)
	assert.Equal(t, []loops.Notice{loops.NoticeWet, loops.NoticeLevel}, history[4].Answer.Noticed)
	history = b.file(sealed.Loop.Tag).History
	require.Len(t, history, 5)
	assert.Equal(t, []loops.Notice{loops.NoticeWet}, history[4].Answer.Noticed)
	page = b.get(link).Body.String()
	assert.Contains(t, page, "something is off:</strong> drops, wet spots or crusts; the liquid stands below the mark. Thank you.")
	assert.Contains(t, page, "<p><strong>Switch it off and pull the plug", "what to do when it is wet comes first")
}

func TestOwnerAnswersOnceForADoubleClick(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	b.record(stamp(0), file.Loop.Tag, loops.Entry{Kind: loops.KindInspection, Day: loops.DayOf(noon, noon.Location()), Inspection: &loops.Inspection{Verdict: loops.Good}})
	link := b.ownerLink(file.Owner)
	before := len(b.file(file.Loop.Tag).History)
	assert.NotContains(t, b.get(link).Body.String(), "All looks fine", "nothing is open")
	assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"fine"}}).Code)
	assert.Len(t, b.file(file.Loop.Tag).History, before, "nothing is open, so there is nothing to be fine")
	for range 2 {
		assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"off"}, "words": {"drops"}}).Code)
		assert.Len(t, b.file(file.Loop.Tag).History, before+1, "that something is off is never lost, and the second press says nothing new")
	}
}

func TestOwnerMailDecidesWhichFormComesFirst(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	link := b.ownerLink(b.ana().Owner)
	for query, fineFirst := range map[string]bool{"": true, "?answer=fine": true, "?answer=off": false} {
		page := b.get(link + query).Body.String()
		fine, off := strings.Index(page, "All looks fine"), strings.Index(page, "Something is off</button>")
		require.Positive(t, fine)
		require.Positive(t, off)
		assert.Equal(t, fineFirst, fine < off, query)
	}
}

func TestOwnerBadAnswersChangeNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	before := b.bytesOnDisk()
	for name, form := range map[string]url.Values{
		"no answer":    {},
		"other answer": {"answer": {"maybe"}},
		"too long":     {"answer": {"off"}, "words": {strings.Repeat("ä", 1500)}},
		"control":      {"answer": {"off"}, "words": {"a\x00b"}},
	} {
		w := b.post(link, form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		assert.Contains(t, w.Body.String(), "Not sent yet. What we need:", name)
	}
	assert.Contains(t, b.post(link, url.Values{"answer": {"off"}, "words": {strings.Repeat("ä", 1500)}}).Body.String(), "ääää", "what was typed comes back")
	w := b.post(link, url.Values{"answer": {"off"}, "words": {strings.Repeat("x", 1<<20)}})
	assert.Equal(t, http.StatusRequestEntityTooLarge, w.Code)
	assert.Equal(t, before, b.bytesOnDisk())
	assert.Zero(t, b.wakes)
}

func TestCrossSitePostsAreRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	link := b.ownerLink(b.ana().Owner)
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+link, strings.NewReader("answer=fine"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	assert.Equal(t, http.StatusForbidden, b.do(r).Code)
}

func TestLinksOpenNothingElse(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana()
	bea := b.register(machine{owner: loops.Owner{Name: "Bea Moss", Email: "bea@moss.example"}, name: "the white cube",
		kind: loops.Workstation, fluid: chemistry.EthyleneGlycol, mass: 0.4, wall: -20, daysAgo: 200})
	page := b.get(b.ownerLink(ana.Owner)).Body.String()
	assert.Contains(t, page, "the grey tower")
	assert.NotContains(t, page, "the white cube")

	assert.Equal(t, http.StatusSeeOther, b.post(b.ownerLink(ana.Owner), url.Values{"answer": {"fine"}}).Code)
	assert.Len(t, b.file(bea.Loop.Tag).History, 4)

	owner := strings.TrimPrefix(b.ownerLink(ana.Owner), "/o/")
	stop := strings.TrimPrefix(b.stopLink(ana.Owner), "/stop/")
	expired := b.links.Sign(links.Owner, ana.Owner, noon.AddDate(0, 0, -1))
	nobody := b.links.Sign(links.Owner, loops.Owner{ID: 999}, noon.AddDate(0, 1, 0))
	flipped := []byte(owner)
	flipped[8] ^= 1
	before := b.bytesOnDisk()
	for _, path := range []string{"/o/" + stop, "/stop/" + owner, "/o/" + expired, "/o/" + nobody, "/o/" + string(flipped), "/o/x", "/stop/x", "/o/" + owner + "A"} {
		w := b.get(path)
		assert.Equal(t, http.StatusNotFound, w.Code, path)
		assert.Contains(t, w.Body.String(), "This link does not work", path)
		assert.NotContains(t, w.Body.String(), `href="/loops"`, "the bench is no owner's business")
		w = b.post(path, url.Values{"answer": {"fine"}, "mail": {"stop"}, "List-Unsubscribe": {"One-Click"}})
		assert.Equal(t, http.StatusNotFound, w.Code, path)
	}
	assert.Equal(t, before, b.bytesOnDisk())
}

func TestStopByOneClick(t *testing.T) {
	t.Parallel()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	require.NoError(t, form.WriteField("List-Unsubscribe", "One-Click"))
	require.NoError(t, form.Close())
	for _, tt := range []struct{ name, kind, body string }{
		{"urlencoded", "application/x-www-form-urlencoded", "List-Unsubscribe=One-Click"},
		{"multipart", form.FormDataContentType(), body.String()},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			owner := b.ana().Owner
			for range 2 { // a mail program may try again
				r := httptest.NewRequest(http.MethodPost, "https://pages.workshop.example"+b.stopLink(owner), strings.NewReader(tt.body))
				r.Header.Set("Content-Type", tt.kind)
				w := b.do(r)
				assert.Equal(t, http.StatusOK, w.Code)
				assert.Empty(t, w.Header().Get("Location"))
			}
			kept, err := b.store.Owner(owner.ID)
			require.NoError(t, err)
			assert.Equal(t, "2026-12-03", kept.MailStopped.String())
		})
	}
}

func TestStopAndResumeByAPerson(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	owner := b.ana().Owner
	link := b.stopLink(owner)
	assert.Contains(t, b.get(link).Body.String(), "Stop these mails")
	w := b.post(link, url.Values{"mail": {"stop"}})
	assert.Equal(t, http.StatusSeeOther, w.Code)
	assert.Equal(t, link, w.Header().Get("Location"))
	page := b.get(link).Body.String()
	assert.Contains(t, page, "We have sent you no mail since Thu 3 Dec 2026")
	assert.Contains(t, page, "Send me mail again")
	assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"mail": {"run"}}).Code)
	assert.Contains(t, b.get(link).Body.String(), "Stop these mails")
	assert.Equal(t, http.StatusUnprocessableEntity, b.post(link, url.Values{}).Code)
	kept, err := b.store.Owner(owner.ID)
	require.NoError(t, err)
	assert.True(t, kept.MailStopped.IsZero())
}

func TestOwnerAsksForACallPausesAndStops(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	page := b.get(link)
	for _, say := range []string{"A lamp and drops at a joint", "Dust between fins and a brush", "A hand in the warm air", "An ear beside the running machine", "How to look it over"} {
		b.says(page, say, "drawings of a sealed loop")
	}
	assert.NotContains(t, page.Body.String(), "fill mark", "a sealed loop shows no level")
	assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"call"}}).Code)
	history := b.file(file.Loop.Tag).History
	assert.Equal(t, loops.CallMe, history[len(history)-1].Answer.Answer)
	assert.Equal(t, 1, strings.Count(b.get(link).Body.String(), `name="answer" value="pause"`), "one way to pause")
	assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"answer": {"pause"}}).Code)
	assert.NotContains(t, b.get(link).Body.String(), `name="answer" value="pause"`, "it is paused already")
	assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"mail": {"stop"}}).Code)
	b.says(b.get(link), "You stopped our mail on Thu 3 Dec 2026", "mail choice")
	assert.Equal(t, http.StatusSeeOther, b.post(link, url.Values{"mail": {"run"}}).Code)
	assert.Equal(t, http.StatusUnprocessableEntity, b.post(link, url.Values{"mail": {"maybe"}}).Code)
	kept, err := b.store.Owner(file.Owner.ID)
	require.NoError(t, err)
	assert.True(t, kept.MayMail())
}

func TestOwnerAnswersAboutOneMachine(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	one := b.ana()
	two := b.register(machine{owner: one.Owner, name: "the white cube", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200, open: true})
	other := b.register(machine{owner: loops.Owner{Name: "Bea Moss"}, name: "hers", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	link := b.ownerLink(one.Owner)
	b.says(b.get(link), "the white cube</option>", "choice")
	w := b.post(link, url.Values{"answer": {"fine"}, "about": {string(two.Loop.Tag)}})
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	assert.Len(t, b.file(one.Loop.Tag).History, 4)
	assert.Len(t, b.file(two.Loop.Tag).History, 5)
	w = b.post(link, url.Values{"answer": {"fine"}, "about": {string(other.Loop.Tag)}})
	assert.Equal(t, http.StatusNotFound, w.Code)
	assert.Len(t, b.file(other.Loop.Tag).History, 4, "nobody answers for others")
}

func TestOwnerSubscribesToTheCalendar(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	calendar := regexp.MustCompile(`href="(/o/[\w-]+)/calendar\.ics"`).FindStringSubmatch(b.get(link).Body.String())
	require.NotNil(t, calendar, "the page links no calendar")
	w := b.get(calendar[1] + "/calendar.ics")
	require.Equal(t, http.StatusOK, w.Code)
	assert.Equal(t, "text/calendar; charset=utf-8", w.Header().Get("Content-Type"))
	assert.Contains(t, w.Body.String(), "BEGIN:VEVENT")
	assert.Contains(t, w.Body.String(), "grey tower")
	assert.Equal(t, http.StatusNotFound, b.get("/o/forged/calendar.ics").Code)

	// A subscription shows days and nothing more, and no other link is one.
	token := strings.TrimPrefix(calendar[1], "/o/")
	assert.Equal(t, http.StatusNotFound, b.get("/o/"+token).Code)
	assert.Equal(t, http.StatusNotFound, b.post("/o/"+token, url.Values{"answer": {"fine"}}).Code)
	assert.Equal(t, http.StatusNotFound, b.get("/stop/"+token).Code)
	assert.Equal(t, http.StatusNotFound, b.post("/stop/"+token, url.Values{"mail": {"stop"}}).Code)
	assert.Equal(t, http.StatusNotFound, b.get(link+"/calendar.ics").Code)
	assert.Equal(t, http.StatusNotFound, b.get(b.stopLink(file.Owner)+"/calendar.ics").Code)
	owner, err := b.store.Owner(file.Owner.ID)
	require.NoError(t, err)
	assert.True(t, owner.MailStopped.IsZero())

	// Long after the mail's links have ended the feed is still there; not for ever.
	path := b.shop.CalendarPath(file.Owner, b.now.AddDate(-9, 0, 0))
	assert.Equal(t, http.StatusOK, b.get(path).Code)
	path = b.shop.CalendarPath(file.Owner, b.now.AddDate(-10, 0, -1))
	assert.Equal(t, http.StatusNotFound, b.get(path).Code)
}

// What stands against a loop is said on its owner's page as everywhere else, and
// nobody is asked to run a machine that is to stay off.
func TestOwnersPageSaysWhatStandsAgainstALoop(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	page := b.get(b.ownerLink(file.Owner))
	b.says(page, "How to look it over", "before")
	require.Equal(t, http.StatusSeeOther, b.act(file.Loop.Tag, "leakcheck", url.Values{"hours": {"3"}, "wet": {"yes"}}).Code)
	conditions := b.file(file.Loop.Tag).Loop.State.Conditions()
	require.NotEmpty(t, conditions)
	page = b.get(b.ownerLink(file.Owner))
	for _, c := range conditions {
		b.says(page, c.OwnerText, string(c.Kind))
	}
	b.says(page, "Leave it switched off and talk to us.", "lead")
	assert.NotContains(t, page.Body.String(), "How to look it over")
	assert.NotContains(t, page.Body.String(), "All looks fine")

	require.Equal(t, http.StatusSeeOther, b.act(file.Loop.Tag, "return", url.Values{"why": {"the owner wants it"}}).Code)
	page = b.get(b.ownerLink(file.Owner))
	b.says(page, "You had it back as it is", "returned")
	assert.NotContains(t, page.Body.String(), "It is in our workshop", "the owner has it")
}
