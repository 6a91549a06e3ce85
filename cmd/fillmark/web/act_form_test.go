// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (b *bench) act(tag loops.Tag, act string, form url.Values) *httptest.ResponseRecorder {
	return b.post("/loops/"+string(tag)+"/acts/"+act, form)
}

// filled is a machine on the bench that was drained, cleaned and filled.
func (b *bench) filled() loops.Tag {
	b.Helper()
	tag := b.taken(intakeForm(nil))
	require.Equal(b, http.StatusSeeOther, b.act(tag, "fill", url.Values{"fluid": {"pg"}, "poured": {"140"}, "mass": {"35"}, "day": {"2026-12-02"}, "inhibitor": {"oat"}}).Code)
	return tag
}

// What speaks against an act is said on the page that it was sent from, over
// the double rule, with everything that was typed.
func TestStopIsShownOnItsPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.filled()
	before := b.bytesOnDisk()
	w := b.act(tag, "handover", url.Values{"page": {"refill"}, "mail-consent": {"yes"}, "note": {"ring twice"}})
	require.Equal(t, http.StatusConflict, w.Code)
	for _, say := range []string{
		`<p class="verdict stop">stop</p>`, "no leak check of 24 hours has stayed dry", "nothing proves that the repair holds",
		`name="overrule:leak-check"`, `href="#handover-stop"`, ">ring twice</textarea>",
	} {
		b.says(w, say, "hand-over")
	}
	assert.NotContains(t, w.Body.String(), "It is already done", "what releases is never recorded against a stop")
	assert.NotContains(t, w.Body.String(), `name="overrule:unproved"`)
	b.unchanged(before)

	w = b.act(tag, "handover", url.Values{
		"page": {"refill"}, "mail-consent": {"yes"}, "unproved": {"its rig is not here"}, "overrule:leak-check": {"the owner waits, 6 h dry"},
	})
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	sheet := b.get(w.Header().Get("Location"))
	b.says(sheet, "<strong>NOT PROVEN</strong>", "sheet")
	b.says(sheet, "Why it is not proven: its rig is not here.", "sheet")
	b.says(sheet, ": no leak check of 24 hours has stayed dry since the loop was filled, because the owner waits, 6 h dry.", "what was set aside")
	b.says(b.get("/loops/"+string(tag)+"/label"), "<strong>leak check: the owner waits, 6 h dry</strong>", "label")
	owner := b.file(tag).Owner
	owner.Language = loops.German
	_, err := b.shop.Edit(stamp(0), workshop.Edit{Owner: &owner})
	require.NoError(t, err)
	require.Equal(t, http.StatusSeeOther, b.act(tag, "return", url.Values{"why": {"it came back unopened"}}).Code, "whose letter can be printed")
	letter := b.get("/loops/" + string(tag) + "/letter")
	b.says(letter, "keine Prüfung auf Lecks von 24 Stunden ist trocken geblieben", "the owner's letter")
	assert.NotContains(t, letter.Body.String(), "no leak check")
}

// What has happened can always be recorded, with one more press.
func TestStopOfWhatIsAlreadyDone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.filled()
	acid := url.Values{"page": {"refill"}, "agent": {"acid"}, "note": {"citric"}, "key": {"a key"}}
	w := b.act(tag, "clean", acid)
	require.Equal(t, http.StatusConflict, w.Code)
	b.says(w, "It is already done: record it", "the way out")
	b.says(w, `value="acid" checked`, "what was chosen")
	b.says(w, `name="key" value="a key"`, "nothing was recorded under the key")
	acid.Set("already-done", "yes")
	require.Equal(t, http.StatusSeeOther, b.act(tag, "clean", acid).Code)
	history := b.file(tag).History
	last := history[len(history)-1]
	assert.Equal(t, loops.KindClean, last.Kind)
	assert.True(t, last.Judged.AlreadyDone)
	assert.NotEmpty(t, last.Judged.Reasons)
}

// The form of a top-up stands on a page of its own. Sent as any act is and stopped,
// it is shown with the reasons and with what was typed.
func TestStopOfATopUpShowsItsReasons(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	before := b.bytesOnDisk()
	w := b.act(tag, "poured", url.Values{"poured": {"eg:95%=10ml"}, "note": {"from the red can"}})
	require.Equal(t, http.StatusConflict, w.Code, w.Body)
	for _, say := range []string{
		`href="#poured-stop"`, `id="poured-stop"`, `<p class="verdict stop">stop</p>`, "<li>stop: ", `value="eg:95%=10ml"`, ">from the red can</textarea>",
		`name="already-done"`, `action="/loops/` + string(tag) + `/acts/poured"`,
	} {
		b.says(w, say, "what was sent")
	}
	b.unchanged(before)
	w = b.act(tag, "poured", url.Values{"poured": {"eg:95%=10ml"}, "already-done": {"yes"}})
	assert.Equal(t, http.StatusSeeOther, w.Code, w.Body)
}

// A form that is sent twice is one entry; what it says otherwise is asked about.
func TestFormSentTwice(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag := file.Loop.Tag
	key := regexp.MustCompile(`acts/readings"[^§]*?name="key" value="([0-9a-f]{24})"`).FindStringSubmatch(b.get("/loops/" + string(tag)).Body.String())
	require.Len(t, key, 2, "the form has a key of its own")
	read := url.Values{"key": {key[1]}, "die": {"55"}}
	first := b.act(tag, "readings", read)
	require.Equal(t, http.StatusSeeOther, first.Code)
	again := b.act(tag, "readings", read)
	assert.Equal(t, first.Header().Get("Location"), again.Header().Get("Location"))
	assert.Len(t, b.file(tag).History, len(file.History)+1)

	read.Set("die", "57")
	w := b.act(tag, "readings", read)
	require.Equal(t, http.StatusConflict, w.Code)
	b.says(w, "This form was sent before and is on record, with something else under “Die, °C”", "the field is named, and no key is told")
	b.says(w, `value="57"`, "what was typed")
	assert.NotContains(t, w.Body.String(), `value="`+key[1], "sent once more it is another act")
}

// The sheet that goes back with a machine says first what is proved.
func TestSheetSaysFirstWhatIsProved(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.filled()
	sheet := func() string {
		page := b.get("/loops/" + string(tag) + "/handover").Body.String()
		_, page, _ = strings.Cut(page, "</h1>")
		first, _, _ := strings.Cut(page, "What was done")
		return html.UnescapeString(first)
	}
	assert.Contains(t, sheet(), "NOT PROVEN")
	assert.Contains(t, sheet(), "no check for leaks of full length has ended dry")
	require.Equal(t, http.StatusSeeOther, b.act(tag, "leakcheck", url.Values{"hours": {"3"}, "wet": {"yes"}}).Code)
	assert.Contains(t, sheet(), "It leaked when the workshop last checked it")
	b.says(b.get("/loops/"+string(tag)+"/label"), "Leaking", "label")

	w := b.act(tag, "return", url.Values{"page": {"refill"}, "why": {"the owner does not want it repaired"}})
	require.Equal(t, http.StatusSeeOther, w.Code, "an owner can always have the machine back: %s", w.Body)
	assert.Contains(t, sheet(), "<strong>LEAKING, RETURNED AS IT IS, NOT PROVEN</strong>")
	assert.Contains(t, sheet(), "Returned as it is: the owner does not want it repaired.")
	b.says(b.get("/loops/"+string(tag)+"/handover"), "<h1>Returned as it is</h1>", "heading")
	b.says(b.get("/loops/"+string(tag)+"/label"), "<span>Returned</span> <strong>as it is, on ", "label")

	proved := b.ana().Loop.Tag
	b.says(b.get("/loops/"+string(proved)+"/handover"), "<strong>Proved on Mon 18 May 2026</strong>", "proved")
	b.act(proved, "intake", url.Values{"complaint": {"the owner fetches it for a while"}})
	require.Equal(t, http.StatusSeeOther, b.act(proved, "return", url.Values{"why": {"it is to be looked at another time"}}).Code)
	for _, paper := range []string{"/handover", "/card", "/letter"} {
		page := b.get("/loops/" + string(proved) + paper)
		b.says(page, "Proved on Mon 18 May 2026", paper)
		assert.NotContains(t, page.Body.String(), "NOT PROVEN", "%s: what was proved is, however it went back", paper)
	}
}

// A machine that is to stay off is nowhere asked to be run: first stands what is
// wrong with its caution, and the steps are those of a machine that is left off.
func TestPapersOfAMachineToBeLeftOff(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	leaking, failed := b.filled(), b.ana().Loop.Tag
	require.Equal(t, http.StatusSeeOther, b.act(leaking, "leakcheck", url.Values{"hours": {"3"}, "wet": {"yes"}}).Code)
	require.Equal(t, http.StatusSeeOther, b.act(failed, "intake", url.Values{"complaint": {"hot"}}).Code)
	require.Equal(t, http.StatusSeeOther, b.act(failed, "readings", url.Values{"verdict": {"failed"}, "cause": {"pump"}}).Code)
	for tag, first := range map[loops.Tag]string{
		leaking: "It leaked when the workshop last checked it, on ",
		failed:  "the workshop found that it no longer cools as it should. Leave it switched off until it is repaired.",
	} {
		label := map[loops.Tag]string{leaking: "<span>Leaking</span>", failed: "<span>Failed</span>"}[tag]
		for range 2 { // while it is here, and after it went back
			b.says(b.get("/loops/"+string(tag)+"/label"), label, "label")
			for _, paper := range []string{"/handover", "/card"} {
				page := b.get("/loops/" + string(tag) + paper)
				b.says(page, first, paper)
				b.says(page, "Switch it off, pull the plug and leave it off.", paper)
				for _, run := range []string{"Let it run", "while it first works hard", "If it gets hot", "How to look it over", "What you may do", `<ul class="drawings">`} {
					assert.NotContains(t, page.Body.String(), run, paper)
				}
			}
			b.act(tag, "return", url.Values{"why": {"the owner does not want it repaired"}})
		}
		owner := b.file(tag).Owner
		owner.Language = loops.German
		_, err := b.shop.Edit(stamp(0), workshop.Edit{Owner: &owner})
		require.NoError(t, err)
		b.says(b.get("/loops/"+string(tag)+"/card"), "Schalten Sie es aus, ziehen Sie den Stecker und lassen Sie es aus.", "card in German")
	}
}

// No paper permits a cold at which the charge may freeze: only the warm end of its
// freeze point counts, rounded to the warm side.
func TestSheetPermitsNoColdThatFreezes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	warm := file.Protection.WarmEnd()
	page := b.get("/loops/" + string(file.Loop.Tag) + "/handover").Body.String()
	found := regexp.MustCompile(`Below ([-\x{2212}]?[\d.]+)\s*°C it may freeze`).FindStringSubmatch(page)
	require.Len(t, found, 2)
	told, err := strconv.ParseFloat(strings.Replace(found[1], "\u2212", "-", 1), 64)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, told, float64(warm))
	assert.Less(t, told, float64(warm)+0.1)
	assert.NotContains(t, page, "± 1", "no middle of an interval beside it")

	cold := file.Loop
	cold.ColdestWall = new(chemistry.Celsius(-30))
	_, err = b.shop.Edit(stamp(0), workshop.Edit{Loop: &cold})
	require.NoError(t, err)
	back := b.act(file.Loop.Tag, "return", url.Values{"why": {"as it was"}})
	require.Equal(t, http.StatusSeeOther, back.Code)
	b.says(b.get("/loops/"+string(file.Loop.Tag)+"/handover"), "there it would freeze and break", "the caution stays once it went back")
}

// A strength that was worked out for the mix stays calculated.
func TestCalculatedStrengthStaysCalculated(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	page := b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=pg&want=40&concentrate=95")
	form := formOf(t, page, "/acts/fill")
	assert.Equal(t, "calculated", form.Get("mass-known"))
	form.Set("page", "refill")
	form.Del("note")
	require.Equal(t, http.StatusSeeOther, b.act(tag, "fill", form).Code)
	charge := b.file(tag).Loop.State.Charge
	assert.Equal(t, loops.Calculated, charge.MassKnown.How)
	b.says(b.get("/loops/"+string(tag)), "mass\u00a0% (calculated) propylene glycol", "card")
}

// formOf is what a browser would send of the first form to an address.
func formOf(t *testing.T, page *httptest.ResponseRecorder, action string) url.Values {
	t.Helper()
	for _, f := range formsOf(t, page) {
		if strings.HasSuffix(f.action, action) && (action != "" || f.action == "" && slices.ContainsFunc(f.names, func(name string) bool { return strings.HasSuffix(name, ".revision") })) {
			return f.filled
		}
	}
	t.Fatalf("the page has no form for %s", action)
	return nil
}

// pageForm is a form as it stands on a page.
type pageForm struct {
	action string
	names  []string // of its inputs
	filled url.Values
}

func formsOf(t *testing.T, page *httptest.ResponseRecorder) []pageForm {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page.Body.String()))
	require.NoError(t, err)
	var forms []pageForm
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode || n.Data != "form" {
			continue
		}
		f := pageForm{action: attr(n, "action"), filled: url.Values{}}
		for in := range n.Descendants() {
			name := attr(in, "name")
			if name == "" || in.Type != html.ElementNode {
				continue
			}
			f.names = append(f.names, name)
			switch {
			case in.Data == "input" && (attr(in, "type") == "checkbox" || attr(in, "type") == "radio") && !slices.ContainsFunc(in.Attr, func(a html.Attribute) bool { return a.Key == "checked" }):
			case in.Data == "input":
				f.filled.Add(name, attr(in, "value"))
			case in.Data == "textarea" && in.FirstChild != nil:
				f.filled.Add(name, strings.ReplaceAll(in.FirstChild.Data, "\n", "\r\n"))
			case in.Data == "textarea":
				f.filled.Add(name, "")
			case in.Data == "select":
				for o := range in.Descendants() {
					if o.Data == "option" && slices.ContainsFunc(o.Attr, func(a html.Attribute) bool { return a.Key == "selected" }) {
						f.filled.Add(name, attr(o, "value"))
					}
				}
			}
		}
		forms = append(forms, f)
	}
	return forms
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// described are the fields of every act, and of every record that a page can
// change, by the name of the act or record.
func described() map[string][]acts.Field {
	all := map[string][]acts.Field{
		"owner": acts.Owners().Fields(), "machine": acts.Machines().Fields(), "loop": acts.Loops().Fields(), "container": acts.Containers().Fields(),
	}
	for _, d := range acts.All() {
		all[d.Name] = d.Fields
	}
	return all
}

// Every field of every act and of every record can be filled in on some page,
// and no page asks for a field that there is not.
func TestEveryFieldIsOnAPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	_, err := b.shop.AddContainer(stamp(1), loops.Container{Kind: loops.PremixBottle, Product: "Blue premix", Left: 1, Fluid: "pg", Mass: new(chemistry.MassFraction(0.4))})
	require.NoError(t, err)
	all, onPages := described(), map[string]map[string]bool{}
	for about := range all {
		onPages[about] = map[string]bool{}
	}
	note := func(about, name string) {
		require.Contains(t, all, about)
		name, _, _ = strings.Cut(strings.TrimSuffix(strings.Split(name, " ")[0], "-of"), ":")
		if slices.Contains([]string{"page", "at", "q", "tag", "white", "residue-at", "revision"}, name) {
			return
		}
		if about == "loop" && slices.Contains([]string{"wetted-part", "wetted-metal", "wetted-plating"}, name) {
			name = "wetted"
		}
		assert.True(t, slices.ContainsFunc(all[about], func(f acts.Field) bool { return f.Name == name && !f.Fixed }), "%s has no field %q", about, name)
		onPages[about][name] = true
	}
	chiller := string(b.register(machine{
		owner: loops.Owner{Name: "Jo Hartwell"}, name: "wash chiller", kind: loops.BenchChiller, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: 5, daysAgo: 30,
	}).Loop.Tag)
	for _, page := range []*httptest.ResponseRecorder{
		b.get("/loops/" + tag), b.get("/loops/" + tag + "/refill"), b.get("/loops/" + chiller), b.get("/loops/" + chiller + "/refill"),
		b.act(loops.Tag(tag), "clean", url.Values{"agent": {"acid"}, "page": {"refill"}}), // with a stop
		b.get("/loops/" + tag + "/edit"), b.get("/owners/1"), b.get("/shelf"), b.get("/shelf/1"),
		b.get("/openings"), b.get("/intake"), b.get("/topup?ask=yes&tag=" + tag + "&room=20&liquid1=water"),
	} {
		for _, f := range formsOf(t, page) {
			_, act, _ := strings.Cut(f.action, "/acts/")
			if f.action == "/openings" {
				act = "open"
			}
			for _, name := range f.names {
				if in, own, ok := strings.Cut(name, "."); ok { // several acts or records in one form
					note(in, own)
				} else if name == "photo" {
					note("intake", name)
				} else if act != "" {
					note(act, name)
				}
			}
		}
	}
	for about, fields := range all {
		for _, f := range fields {
			if f.Name == "already-done" || f.Name == "overrule" || f.Fixed { // where there is a stop, or given once
				continue
			}
			assert.True(t, onPages[about][f.Name], "%s: %s is on no page; there are %v", about, f.Name, slices.Sorted(maps.Keys(onPages[about])))
		}
	}
	assert.True(t, onPages["clean"]["already-done"])
}

// problemsIn are what a page says is wrong.
func problemsIn(w *httptest.ResponseRecorder) []string {
	return regexp.MustCompile(`(?s)(<div class="problem" role="alert">.*?</div>|<span class="problem".*?</span>|<p class="problem".*?</p>|<div class="stopped".*?</ul>)`).FindAllString(w.Body.String(), -1)
}

// A form of an act has no revision to conflict with: whatever the loop was when it
// was shown, the act is judged by what stands when it arrives. What somebody else
// wrote in between stops it, stands beside it, and nothing typed is lost.
func TestWhatWasWrittenInBetweenIsJudged(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	form := url.Values{"page": {"refill"}, "key": {"shown before"}, "mail-consent": {"yes"}, "note": {"keys are in the box"}}
	yesterday := loops.DayOf(b.now, time.UTC).AddDays(-1).String()
	require.Equal(t, http.StatusSeeOther, b.act(tag, "leakcheck", url.Values{"day": {yesterday}, "hours": {"24"}, "wet": {"yes"}}).Code, "the other technician")
	before := len(b.file(tag).History)

	w := b.act(tag, "handover", form)
	require.Equal(t, http.StatusConflict, w.Code)
	page := html.UnescapeString(w.Body.String())
	assert.Contains(t, page, `id="handover-stop"`)
	for _, typed := range []string{"keys are in the box", `name="key" value="shown before"`} {
		assert.Contains(t, page, typed, "nothing typed is lost")
	}
	assert.Contains(t, page, "Checked for leaks", "what was written in between stands on the page")
	assert.Len(t, b.file(tag).History, before, "nothing is recorded")

	require.Equal(t, http.StatusSeeOther, b.act(tag, "leakcheck", url.Values{"hours": {"24"}, "dry": {"yes"}}).Code)
	assert.Equal(t, http.StatusSeeOther, b.act(tag, "handover", form).Code, "the same form, once nothing speaks against it")
}
