// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestRefillFromIntakeToHandover(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	path := "/loops/" + string(tag) + "/refill"
	page := b.get(path)
	require.Equal(t, http.StatusOK, page.Code)
	b.says(page, "Before opening", "first phase")
	b.says(page, "Before the work: ", "the readings of the intake")

	mix := url.Values{"mix": {"yes"}, "left": {"10"}, "fluid": {"pg"}, "wall": {"-10"}, "concentrate": {"95"}, "inhibitor": {"oat"}, "inhibitor_dose": {"10"}}
	w := b.get(path + "?" + mix.Encode())
	require.Equal(t, http.StatusOK, w.Code)
	for _, say := range []string{"of the inhibitor, as its label asks", "alcohol", "first ice at", "concentrate"} {
		b.says(w, say, "mix")
	}
	for _, step := range []struct {
		act  string
		form url.Values
	}{
		{"step", url.Values{"sheet-step": {"warranty", "weigh-as-received"}, "value:weigh-as-received": {"812,5"}, "q": {mix.Encode()}, "at": {"phase1"}}},
		{"step", url.Values{"sheet-step": {"photo"}, "left-out": {"yes"}, "note": {"camera flat"}}},
		{"drain", url.Values{"out": {"130"}, "left": {"10"}, "went": {"used glycol drum"}}},
		{"clean", url.Values{"agent": {"alcohol"}, "rinsed": {"yes"}}},
		{"flush", url.Values{}},
		{"fill", url.Values{"fluid": {"pg"}, "poured": {"135"}, "filled": {"140"}, "mass": {"34,5"}, "mass-known": {"measured"}, "mass-uncertainty": {"1"}, "inhibitor": {"oat"}, "inhibitor-life": {"24"}}},
		{"leakcheck", url.Values{"hours": {"24"}, "dry": {"yes"}}},
		{"proof", url.Values{"die": {"61"}, "room": {"22"}, "power": {"120"}, "steady": {"yes"}, "verdict": {"good"}}},
		{"handover", url.Values{"mail-consent": {"yes"}}},
	} {
		step.form.Set("page", "refill")
		w := b.post("/loops/"+string(tag)+"/acts/"+step.act, step.form)
		require.Equal(t, http.StatusSeeOther, w.Code, "%v: %s", step, problemsIn(w))
		if step.act == "fill" {
			b.now = b.now.AddDate(0, 0, 1) // while the leak check runs
		}
		if step.form.Get("at") == "phase1" {
			assert.Contains(t, w.Header().Get("Location"), "concentrate=95", "the mix stays on the page")
			assert.True(t, strings.HasSuffix(w.Header().Get("Location"), "#phase1"))
		}
	}
	file := b.file(tag)
	kinds := map[loops.EntryKind]int{}
	for _, e := range file.History {
		kinds[e.Kind]++
	}
	assert.Equal(t, map[loops.EntryKind]int{
		loops.KindIntake: 1, loops.KindInspection: 1, loops.KindStep: 3, loops.KindDrain: 1, loops.KindClean: 1, loops.KindFlush: 1, loops.KindFill: 1, loops.KindLeakCheck: 1, loops.KindProof: 1, loops.KindHandover: 1,
	}, kinds)
	charge := file.Loop.State.Charge
	require.NotNil(t, charge)
	assert.InDelta(t, 0.345, float64(*charge.Mass), 1e-9)
	assert.Equal(t, 24, charge.Additives[0].LifeMonths)
	assert.False(t, file.Loop.State.LastKnownGood.IsZero())
	assert.Equal(t, loops.Consent{Mail: true, Opening: true}, file.Owner.Consent, "what nobody asked about stays")
}

func TestRefillAsksWhatWasLeftBeforeAnythingIsMixed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	w := b.get("/loops/" + string(tag) + "/refill?mix=yes&fluid=pg&wall=-10&concentrate=95")
	b.says(w, "what stayed in after draining; 0 if it was blown dry", "left")
	assert.NotContains(t, w.Body.String(), "weigh and stir in")
}

// A bottle on the shelf is mixed by its own label, and what was worked out is
// offered as what is poured: the fill then says it by the same label.
func TestRefillFromABottle(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	add := func(c loops.Container) string {
		t.Helper()
		for _, text := range []string{"25%:-9C", "40%:-20C", "50%:-31C"} {
			if c.Kind != loops.ConcentrateBottle || c.Mass != nil {
				break
			}
			pair, err := chemistry.ParseLabelPair(text)
			require.NoError(t, err)
			c.Pairs = append(c.Pairs, pair)
		}
		c, err := b.shop.AddContainer(stamp(1), c)
		require.NoError(t, err)
		return fmt.Sprint(c.ID)
	}
	tern := add(loops.Container{Kind: loops.ConcentrateBottle, Product: "Tern", Lot: "T9", Fluid: chemistry.PropyleneGlycol, Left: 5})
	plain := add(loops.Container{Kind: loops.PremixBottle, Product: "ready", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.5)), Left: 5})
	amber := add(loops.Container{Kind: loops.PremixBottle, Product: "amber", Fluid: chemistry.EthyleneGlycol, Mass: new(chemistry.MassFraction(0.5)), Left: 5})
	refill := "/loops/" + string(tag) + "/refill"
	ask := refill + "?mix=yes&left=0&fluid=pg&wall=-10&make=480&bottle="
	w := b.get(ask + tern)
	b.says(w, "of Tern, by the lines of its label", "checked in the bottle's own per cent")
	b.says(w, `name="poured:water"`, "water beside it")
	b.says(b.get(ask+plain), "weigh and stir in <strong>", "by the strength on its record")
	b.says(b.get(ask+amber), "one with propylene glycol", "the other glycol")
	for _, wrong := range []string{"99", "x", tern + "&concentrate=95"} {
		assert.Contains(t, b.get(ask+wrong).Body.String(), `id="bottle-problem"`, wrong)
	}

	fill := url.Values{"page": {"refill"}, "poured-of": {tern}, "poured": {"180"}, "poured:water": {"270"}, "inhibitor": {"oat"}, "biocide": {"none"}, "already-done": {"yes"}}
	assert.Equal(t, http.StatusSeeOther, b.post("/loops/"+string(tag)+"/acts/fill", fill).Code)
	file := b.file(tag)
	assert.Equal(t, "Tern", file.Loop.State.Charge.Product)
	assert.InDelta(t, -20, float64(file.Loop.Protection().FreezePoint), 0.1, "40 % of it, by its label")
}

func TestRefillTellsGlycolsApart(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(url.Values{"reach": {"true"}}))
	w := b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=eg&want=10&concentrate=95")
	b.says(w, `class="verdict`, "verdict")
	b.says(w, "cite", "its reasons have sources")
	assert.Equal(t, 1, strings.Count(w.Body.String(), "that little glycol feeds microbes"), "each reason once")
	w = b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=water&wall=18&make=1,200")
	b.says(w, "this comma may mean thousands", "1,200 is 1200 to some and 1.2 to others")
	w = b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=water&wall=-10&make=500")
	b.says(w, "water freezes at 0", "water where it can freeze")
	assert.NotContains(t, w.Body.String(), `<p class="verdict go"`)
	w = b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=water&wall=18&make=500")
	b.says(w, "<strong>499\u00a0g</strong> (500\u00a0ml)", "water by weight")
}

func TestRefillThatIsWrongChangesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	before := b.bytesOnDisk()
	for name, tt := range map[string]struct {
		act  string
		form url.Values
		says string
	}{
		"nothing ticked": {"step", url.Values{}, "a tick at what is done"},
		"left, no why":   {"step", url.Values{"sheet-step": {"photo"}, "left-out": {"yes"}}, "why the step was left out"},
		"figure":         {"step", url.Values{"sheet-step": {"weigh-as-received"}, "value:weigh-as-received": {"lots"}}, `value="lots" aria-invalid`},
		"drain in words": {"drain", url.Values{"left": {"a bit"}}, `value="a bit"`},
		"nowhere":        {"drain", url.Values{"left": {"0"}, "out": {"500"}}, `id="drain-went-problem"`},
		"no volume":      {"fill", url.Values{"fluid": {"pg"}, "mass": {"35"}, "origin": {"workshop"}}, `id="fill-poured-problem"`},
		"too strong":     {"fill", url.Values{"fluid": {"pg"}, "poured": {"500"}, "mass": {"70"}}, `id="fill-mass-problem"`},
		"leak, no word":  {"leakcheck", url.Values{"hours": {"24"}}, "dry or wet"},
		"proof, blind":   {"proof", url.Values{}, `id="proof-die-problem"`},
		"handed where":   {"handover", url.Values{"mail-consent": {"perhaps"}}, `id="handover-mail-consent-problem"`},
		"hostile":        {"drain", url.Values{"left": {hostile}, "q": {hostile}, "at": {hostile}, "key": {hostile}}, `id="drain-left-problem"`},
	} {
		tt.form.Set("page", "refill")
		w := b.post("/loops/"+string(file.Loop.Tag)+"/acts/"+tt.act, tt.form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		b.says(w, tt.says, name)
		assert.NotContains(t, w.Body.String(), "<script>alert", name)
	}
	b.unchanged(before)
	assert.Equal(t, http.StatusNotFound, b.get("/loops/7TG9FF/refill").Code)
	assert.Equal(t, http.StatusNotFound, b.post("/loops/"+string(file.Loop.Tag)+"/acts/bury", url.Values{}).Code)
}

// What stayed in the loop must not meet another fluid: the page counts the
// rinses instead of mixing the two.
func TestRefillWithAnotherFluidIsRinsedFirst(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana() // propylene glycol
	path := "/loops/" + string(file.Loop.Tag) + "/refill?mix=yes&left=10&"
	for _, query := range []string{"fluid=water&wall=18&left_mass=35", "fluid=eg&want=40&concentrate=95&left_mass=35"} {
		w := b.get(path + query)
		b.says(w, "the glycol that stayed in must not meet", query)
		b.says(w, "rinses with water", query)
		assert.NotContains(t, w.Body.String(), `<p class="verdict go"`, query)
	}
	for _, query := range []string{"fluid=pg&want=40&concentrate=95&left_mass=35", "fluid=eg&want=40&concentrate=95&left_mass=0"} {
		b.says(b.get(path+query), "In the loop then", query)
	}
}

// What was ticked by mistake is taken back on the spot, and the sheet stands
// where it stood.
func TestRefillTakesBackATick(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	sheet := "/loops/" + string(tag) + "/refill"
	require.Equal(t, http.StatusSeeOther, b.post("/loops/"+string(tag)+"/acts/step", url.Values{"sheet-step": {"weigh-as-received"}, "value:weigh-as-received": {"812,5"}, "page": {"refill"}, "at": {"phase1"}}).Code)
	done := b.step(tag, "weigh-as-received")
	require.False(t, done.Open())
	page := b.get(sheet).Body.String()
	require.Contains(t, page, fmt.Sprintf(`form="undo-phase1" name="entry" value="%d">Undo</button>`, done.Entry))
	hidden := regexp.MustCompile(`(?s)<form id="undo-phase1" method="post" action="([^"]+)"[^>]*>(.*?)</form>`).FindStringSubmatch(page)
	require.Len(t, hidden, 3)
	back := url.Values{"entry": {strconv.FormatUint(uint64(done.Entry), 10)}}
	for _, input := range regexp.MustCompile(`name="(\w+)" value="([^"]*)"`).FindAllStringSubmatch(hidden[2], -1) {
		back.Set(input[1], input[2])
	}
	w := b.post(hidden[1], back)
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	assert.Equal(t, sheet+"#phase1", w.Header().Get("Location"))
	assert.True(t, b.step(tag, "weigh-as-received").Open())
	assert.Nil(t, b.step(tag, "weigh-as-received").Value)
}

// step is how a step of the present visit stands.
func (b *bench) step(tag loops.Tag, id loops.StepID) loops.StepState {
	b.Helper()
	file := b.file(tag)
	for _, s := range loops.StepsOf(file.Loop.Sealed, file.History) {
		if s.ID == id {
			return s
		}
	}
	require.Fail(b, "no such step", id)
	return loops.StepState{}
}

// Of several steps at once only the one that is wrong is marked, and the summary
// leads to its field.
func TestStepsAreMarkedEachForItself(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	w := b.post("/loops/"+string(tag)+"/acts/step", url.Values{"page": {"refill"}, "sheet-step": {"weigh-as-received", "drain", "look-fan"},
		"value:weigh-as-received": {"heavy"}, "value:drain": {"128"}, "found:look-fan": {"sulks"}})
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	page := w.Body.String()
	for _, say := range []string{`<a href="#value%3aweigh-as-received">`, `id="value:weigh-as-received-problem"`, `<a href="#found%3alook-fan">`, `aria-describedby="found:look-fan-problem"`} {
		assert.Contains(t, page, say)
	}
	assert.NotContains(t, page, `id="value:drain-problem"`, "that one is right")
	assert.NotContains(t, page, `#step-value`)
	w = b.post("/loops/"+string(tag)+"/acts/step", url.Values{"page": {"refill"}, "sheet-step": {"look-fan", "look-dust"}, "found:look-fan": {"out"}, "found:look-dust": {""}})
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), `id="found:look-dust-problem"`, "nothing was chosen")
	assert.NotContains(t, w.Body.String(), `id="found:look-fan-problem"`)
}

// What is left in the loop is what the last drain of this cooler left.
func TestMixOffersWhatTheLastDrainLeft(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	left := func() string {
		found := regexp.MustCompile(`<input id="left" [^>]*value="([^"]*)"`).FindStringSubmatch(b.get("/loops/" + string(tag) + "/refill").Body.String())
		require.NotEmpty(t, found)
		return found[1]
	}
	for _, ml := range []string{"30", "5"} {
		b.act(tag, "drain", url.Values{"out": {"20"}, "left": {ml}, "went": {"drum 2"}})
		assert.Equal(t, ml, left())
	}
	require.Equal(t, http.StatusSeeOther, b.act(tag, "swap", url.Values{"old-unit": {"kept"}, "sealed": {"yes"}}).Code)
	assert.Empty(t, left(), "nobody drained the other cooler")
}

// The mix starts from what was last in the loop, also where that was the charge of
// another cooler that was drained since.
func TestMixOffersTheFluidThatWasDrained(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	require.Equal(t, http.StatusSeeOther, b.act(tag, "swap", url.Values{"old-unit": {"kept"}, "sealed": {"yes"}, "fluid": {"eg"}}).Code)
	require.Equal(t, http.StatusSeeOther, b.act(tag, "drain", url.Values{"out": {"20"}, "left": {"5"}, "went": {"drum 2"}}).Code)
	assert.Regexp(t, `<option value="`+string(chemistry.EthyleneGlycol)+`" selected`, b.get("/loops/"+string(tag)+"/refill").Body.String())
}

// The page of a loop says how much is in it: what went in less what is missing.
func TestLoopSaysHowMuchIsInIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	require.Equal(t, http.StatusSeeOther, b.act(tag, "swap", url.Values{"old-unit": {"kept"}, "sealed": {"yes"}, "fluid": {"pg"}, "holds": {"300"}}).Code)
	require.Equal(t, http.StatusSeeOther, b.act(tag, "readings", url.Values{"gap": {"40"}}).Code)
	page := b.get("/loops/" + string(tag)).Body.String()
	assert.Contains(t, page, "260\u00a0ml")
}

// What is read of a cooler that was just fitted is not how the old one was before the
// work, and fitting it is work of a new visit.
func TestAnotherCoolerIsWorkOnTheBench(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	require.Equal(t, http.StatusSeeOther, b.act(tag, "return", url.Values{"why": {"theirs"}}).Code)
	handover := func() string { return b.get("/loops/" + string(tag) + "/handover").Body.String() }
	require.NotContains(t, handover(), "Another cooler fitted")
	require.Equal(t, http.StatusSeeOther, b.act(tag, "swap", url.Values{"old-unit": {"kept"}, "sealed": {"yes"}, "fluid": {"pg"}}).Code)
	assert.Contains(t, handover(), "nother cooler")
	require.Equal(t, http.StatusSeeOther, b.act(tag, "readings", url.Values{"die": {"60"}, "room": {"22"}, "power": {"100"}, "steady": {"yes"}}).Code)
	assert.NotContains(t, b.get("/loops/"+string(tag)+"/refill").Body.String(), "Before the work:")
}
