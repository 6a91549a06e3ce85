// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func TestDueShowsWhatIsOverdueAndWhy(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	task := file.Loop.Plan.Tasks[0]
	page := b.get("/").Body.String()
	assert.Contains(t, page, `<h2 class="verdict stop">Overdue</h2>`)
	assert.Contains(t, page, string(file.Loop.Tag))
	assert.Contains(t, page, "the grey tower")
	assert.Contains(t, page, "Ana Fern")
	assert.Contains(t, page, task.Due.Long())
	assert.Contains(t, page, "days overdue")
	assert.Contains(t, page, task.Binding().Source)
	assert.Contains(t, page, "Mail reaches no owner")
}

func TestDueKeepsQuietAboutMailThatGoesOut(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(d *web.Deps) { d.MailReachesOwners = true })
	assert.NotContains(t, b.get("/").Body.String(), "Mail reaches no owner")
}

func TestDueSaysWhatComesNext(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Contains(t, b.get("/").Body.String(), "Nothing is planned yet")
	file := b.register(machine{owner: loops.Owner{Name: "Ana Fern", Email: "ana@garden.example"}, name: "the grey tower",
		kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 0})
	b.now = noon.AddDate(0, 0, 1)
	page := b.get("/").Body.String()
	assert.Contains(t, page, "Nothing is due today. Next:")
	assert.Contains(t, page, "/loops/"+string(file.Loop.Tag))
	assert.NotContains(t, page, "Nothing is planned yet")
}

func TestLoopsAreFoundByTagOwnerAndMachine(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana()
	b.register(machine{owner: loops.Owner{Name: "Bea Moss", Email: "bea@moss.example", Phone: "+351 210 000 000"}, name: "the white cube", kind: loops.Workstation,
		fluid: chemistry.TreatedWater, mass: 0, wall: 5, daysAgo: 10, open: true})
	tag := string(ana.Loop.Tag)
	for query, want := range map[string][2]bool{
		"": {true, true}, "ana": {true, false}, "FERN+tower": {true, false}, "cube": {false, true}, "the": {true, true}, "nobody": {false, false},
		"garden.example": {true, false}, "bea%40": {false, true}, "0351+210-000": {false, true}, "210000000+cube": {false, false}, "999": {false, false},
	} {
		for _, narrow := range []string{"", "&sort=owner"} {
			page := b.get("/loops?q=" + query + narrow).Body.String()
			assert.Equal(t, want[0], strings.Contains(page, "the grey tower"), query+narrow)
			assert.Equal(t, want[1], strings.Contains(page, "the white cube"), query+narrow)
		}
	}
	for _, typed := range []string{tag, strings.ToLower(tag[:3]) + "-" + tag[3:]} {
		w := b.get("/loops?q=" + typed)
		require.Equal(t, http.StatusFound, w.Code, "a tag leads straight to the loop")
		assert.Equal(t, "/loops/"+tag, w.Header().Get("Location"))
		typing := httptest.NewRequest(http.MethodGet, "http://127.0.0.1/loops?q="+typed, nil)
		typing.Header.Set("Sec-Fetch-Dest", "empty") // as a script asks, https://www.w3.org/TR/fetch-metadata/
		w = b.do(typing)
		require.Equal(t, http.StatusOK, w.Code, "who is still typing is not led away")
		assert.Contains(t, w.Body.String(), "the grey tower")
		assert.NotContains(t, w.Body.String(), "the white cube")
	}
	assert.Equal(t, http.StatusOK, b.get("/loops?q=7K3QXA").Code, "a tag that no loop has finds nothing")
}

func TestLoopJudgesFrost(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		fluid chemistry.Fluid
		mass  float64
		wall  float64
		class string
		says  string
	}{
		// 35 mass % propylene glycol: first ice near −16 °C (ASHRAE Handbook Fundamentals, freezing table).
		{"well below", chemistry.PropyleneGlycol, 0.35, -10, "go", "colder than the coldest wall at \u221210.0\u00a0°C"},
		{"within the interval", chemistry.PropyleneGlycol, 0.35, -16, "care", "First ice may come at"},
		{"not below", chemistry.PropyleneGlycol, 0.10, -10, "stop", "the liquid can freeze there"},
		{"not known", chemistry.EthyleneGlycol, -1, -10, "unknown", "The strength is not known"},
		{"water", chemistry.TreatedWater, 0, 5, "go", "colder than the coldest wall at 5.0\u00a0°C"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			file := b.register(machine{owner: loops.Owner{Name: "Ana Fern"}, name: "the grey tower", kind: loops.Desktop,
				fluid: tt.fluid, mass: tt.mass, wall: tt.wall, daysAgo: 20})
			w := b.get("/loops/" + string(file.Loop.Tag))
			require.Equal(t, http.StatusOK, w.Code)
			page := w.Body.String()
			assert.Contains(t, page, fmt.Sprintf(`<p class="verdict %s">%s</p>`, tt.class, map[bool]string{true: "not known", false: tt.class}[tt.class == "unknown"]))
			assert.Contains(t, page, tt.says)
			assert.Equal(t, tt.fluid.IsGlycol(), strings.Contains(page, `class="curve"`))
			assert.Equal(t, tt.mass >= 0, strings.Contains(page, `class="gauge"`))
			for _, c := range chemistry.Cautions(chemistry.Contents{Fluid: tt.fluid}) {
				assert.Contains(t, page, c.Substance)
			}
			for _, task := range file.Loop.Plan.Tasks {
				assert.Contains(t, page, task.Due.Long())
			}
			assert.Equal(t, len(file.Loop.Plan.Tasks), strings.Count(page, `>binding</td>`), "one clause of each task binds")
		})
	}
}

func TestLoopIsFoundByATagAsTyped(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	w := b.get("/loops/" + strings.ToLower(tag[:3]) + "-" + tag[3:])
	assert.Equal(t, http.StatusFound, w.Code)
	assert.Equal(t, "/loops/"+tag, w.Header().Get("Location"))
}

func TestHistorySaysEveryKindInWords(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	die, room, power, ph, missing, rating := chemistry.Celsius(47), chemistry.Celsius(20), 110.0, 7.9, chemistry.Litre(0.03), 165.0
	readings := loops.Inspection{Die: &die, Room: &room, PowerW: &power, PH: &ph, Missing: &missing, Verdict: loops.Good}
	entries := []struct {
		entry loops.Entry
		says  string
	}{
		{loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "it screams"}}, "Taken in: the owner says “it screams”."},
		{loops.Entry{Kind: loops.KindInspection, Inspection: &readings}, "Read: die 47.0 °C; room 20.0 °C; heat 110\u00a0W; pH 7.9"},
		{loops.Entry{Kind: loops.KindClean, Clean: &loops.Cleaning{Agents: []chemistry.Agent{chemistry.Alcohol}}}, "Cleaned: with alcohol."},
		{loops.Entry{Kind: loops.KindFlush}, "Flushed."},
		{loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "premix", Fluid: chemistry.PropyleneGlycol, Mass: 0.35, Volume: 0.03}}}}, "Topped up: poured 30 ml of premix"},
		{loops.Entry{Kind: loops.KindDose, Dose: &loops.Dose{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole", DoseMLPerL: 2}}}, "label's dose 2\u00a0ml/l"},
		{loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}}, "Checked for leaks: over 24\u00a0h; dry."},
		{loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{Before: loops.Inspection{Die: new(chemistry.Celsius(60)), Room: &room, PowerW: &power, Verdict: loops.NotJudged}, After: loops.Inspection{Die: &die, Room: &room, PowerW: &power, Steady: true, Verdict: loops.Good}}}, "judged good"},
		{loops.Entry{Kind: loops.KindSetting, Setting: &loops.Setting{Task: loops.Look, IntervalMonths: 3}}, "Planned otherwise: look; paused: no; every 3\u00a0months"},
		{loops.Entry{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: loops.CauseClog, Severity: new(loops.Blocked), Residues: []loops.Residue{{Kind: "white gel or powder", Place: "pump"}}}}, "Opened: cause clog; narrowest passage blocked; residue white gel or powder at pump."},
		{loops.Entry{Kind: loops.KindCorrection, Correction: &loops.Correction{Strikes: 3, Why: "other machine"}}, "struck out by entry 15: other machine"},
		{loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{Left: 0.05, Disposal: "collected"}}, "Drained: left inside 50 ml; used liquid “collected”."},
		{loops.Entry{Kind: loops.KindRetirement, Retirement: &loops.Retirement{Reason: loops.ReplacedByAir, StatedRatingW: &rating}}, "the new cooler's label says 165\u00a0W."},
	}
	for _, e := range entries {
		b.record(stamp(1), file.Loop.Tag, e.entry)
	}
	page := b.get("/loops/" + string(file.Loop.Tag)).Body.String()
	for _, e := range entries {
		assert.Contains(t, html.UnescapeString(page), e.says, web.EntryWords(e.entry))
	}
	assert.Contains(t, page, "Filled: propylene glycol; 35.0 mass %; ± 1.0 mass %; calculated")
	assert.Contains(t, page, "Handed over: agrees to mail; agrees to opening: no; agrees to photos: no.")
	assert.Less(t, strings.Index(page, "Left service"), strings.Index(page, "Handed over:"), "newest first")
}

func BenchmarkDueWithAThousandTasks(b *testing.B) {
	bench := newBench(b)
	anas := bench.ana().Owner
	for i := range 1000 {
		bench.register(machine{owner: anas, name: fmt.Sprint("machine ", i), kind: loops.Desktop,
			fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	}
	for b.Loop() {
		if w := bench.get("/"); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}

// The first look after a write reads the list again.
func BenchmarkDueAfterAWrite(b *testing.B) {
	bench := newBench(b)
	tag := bench.ana().Loop.Tag
	for i := range 1000 {
		bench.register(machine{owner: loops.Owner{Name: fmt.Sprint("Owner ", i), Zone: "Europe/Lisbon"}, name: "tower", kind: loops.Desktop,
			fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	}
	for n := 0; b.Loop(); n++ {
		b.StopTimer()
		bench.record(stamp(0), tag, loops.Entry{Kind: loops.KindNote, Day: loops.DayOf(noon, time.UTC), Note: fmt.Sprint("seen ", n)})
		b.StartTimer()
		if w := bench.get("/"); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}

func BenchmarkOneLoop(b *testing.B) {
	bench := newBench(b)
	path := "/loops/" + string(bench.ana().Loop.Tag)
	for b.Loop() {
		if w := bench.get(path); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}

// A job sheet judges what is on the shelf beforehand, as much as it shows of it.
func BenchmarkJobSheet(b *testing.B) {
	bench := newBench(b)
	path := "/loops/" + string(bench.ana().Loop.Tag) + "/refill"
	for n := range 12 {
		bench.shelved(fmt.Sprint("can ", n), chemistry.PropyleneGlycol, 0.35, 2)
	}
	for b.Loop() {
		if w := bench.get(path); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}

func BenchmarkLoopsPage(b *testing.B) {
	bench := newBench(b)
	for i := range 100 {
		bench.register(machine{owner: loops.Owner{Name: fmt.Sprint("Owner ", i)}, name: "tower", kind: loops.Desktop,
			fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	}
	for b.Loop() {
		if w := bench.get("/loops"); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}
