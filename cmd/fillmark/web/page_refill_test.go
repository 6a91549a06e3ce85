// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
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
	for _, say := range []string{"of the inhibitor, as its label asks", "dilution water", "first ice at", "concentrate"} {
		b.says(w, say, "mix")
	}
	for _, step := range []url.Values{
		{"do": {"steps"}, "step_warranty": {"yes"}, "step_weigh-as-received": {"yes"}, "figure_weigh-as-received": {"812,5"}, "q": {mix.Encode()}, "at": {"phase1"}},
		{"do": {"leave"}, "leave_step": {"photo"}, "leave_note": {"camera flat"}},
		{"do": {"drain"}, "drain_out": {"130"}, "drain_left": {"10"}, "drain_disposal": {"used glycol drum"}},
		{"do": {"fill"}, "fill_fluid": {"pg"}, "fill_volume": {"135"}, "fill_mass": {"34,5"}, "fill_mass_plus": {"1"}, "filled": {"2026-12-03"}, "fill_inhibitor": {"oat"}, "fill_inhibitor_life": {"24"}},
		{"do": {"leak"}, "leak_hours": {"24"}, "leak_dry": {"dry"}},
		{"do": {"proof"}, "after_die": {"61"}, "after_room_air": {"22"}, "after_power": {"120"}, "after_verdict": {"good"}},
		{"do": {"handover"}, "mail": {"yes"}},
	} {
		w := b.post(path, step)
		require.Equal(t, http.StatusSeeOther, w.Code, "%v: %s", step, w.Body)
		if step.Get("do") == "steps" {
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
		loops.KindIntake: 1, loops.KindInspection: 1, loops.KindStep: 3, loops.KindDrain: 1, loops.KindFill: 1, loops.KindLeakCheck: 1, loops.KindProof: 1, loops.KindHandover: 1,
	}, kinds)
	charge := file.Loop.State.Charge
	require.NotNil(t, charge)
	assert.InDelta(t, 0.345, float64(*charge.Mass), 1e-9)
	assert.Equal(t, 24, charge.Inhibitor.LifeMonths)
	assert.False(t, file.Loop.State.LastKnownGood.IsZero())
	assert.Equal(t, loops.Consent{Mail: true}, file.Owner.Consent)
}

func TestRefillAsksWhatWasLeftBeforeAnythingIsMixed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	w := b.get("/loops/" + string(tag) + "/refill?mix=yes&fluid=pg&wall=-10&concentrate=95")
	b.says(w, "what stayed in after draining; 0 if it was blown dry", "left")
	assert.NotContains(t, w.Body.String(), "weigh and stir in")
}

func TestRefillTellsGlycolsApart(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(url.Values{"reach": {"yes"}}))
	w := b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=eg&want=10&concentrate=95")
	b.says(w, `class="verdict`, "verdict")
	b.says(w, "cite", "its reasons have sources")
	assert.Equal(t, 1, strings.Count(w.Body.String(), "that little glycol feeds microbes"), "each reason once")
	w = b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=water&wall=-10&make=500")
	b.says(w, "for water, which freezes at", "water where it can freeze")
	assert.NotContains(t, w.Body.String(), `<p class="verdict go"`)
	w = b.get("/loops/" + string(tag) + "/refill?mix=yes&left=0&fluid=water&wall=18&make=500")
	b.says(w, "<strong>499\u00a0g</strong> (500\u00a0ml)", "water by weight")
}

func TestRefillThatIsWrongChangesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	_, err := b.shop.AddContainer(stamp(3), loops.Container{Kind: loops.PremixBottle, Product: "Blue premix", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), Left: 0.1})
	require.NoError(t, err)
	path := "/loops/" + string(file.Loop.Tag) + "/refill"
	before := b.bytesOnDisk()
	for name, tt := range map[string]struct {
		form url.Values
		says string
	}{
		"no form":        {url.Values{}, "a form of this page"},
		"nothing ticked": {url.Values{"do": {"steps"}}, "tick what is done"},
		"left, no why":   {url.Values{"do": {"leave"}, "leave_step": {"photo"}}, "why the step was left out"},
		"drain in words": {url.Values{"do": {"drain"}, "drain_left": {"a bit"}}, `value="a bit"`},
		"nowhere":        {url.Values{"do": {"drain"}, "drain_left": {"0"}, "drain_out": {"500"}}, `id="drain_disposal-problem"`},
		"no volume":      {url.Values{"do": {"fill"}, "fill_fluid": {"pg"}, "fill_mass": {"35"}, "filled": {"2026-12-03"}}, `id="fill_volume-problem"`},
		"too strong":     {url.Values{"do": {"fill"}, "fill_fluid": {"pg"}, "fill_volume": {"500"}, "fill_mass": {"70"}, "filled": {"2026-12-03"}}, `id="fill_mass-problem"`},
		"shelf short":    {url.Values{"do": {"fill"}, "fill_fluid": {"pg"}, "fill_volume": {"500"}, "fill_mass": {"35"}, "filled": {"2026-12-03"}, "fill_container": {"1"}}, `id="fill_container-problem"`},
		"leak, no word":  {url.Values{"do": {"leak"}, "leak_hours": {"24"}}, "dry or wet"},
		"proof, blind":   {url.Values{"do": {"proof"}, "after_die": {"60"}}, `id="after_power-problem"`},
		"hostile":        {url.Values{"do": {hostile}, "drain_left": {hostile}, "q": {hostile}, "at": {hostile}}, "a form of this page"},
	} {
		w := b.post(path, tt.form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		b.says(w, tt.says, name)
		assert.NotContains(t, w.Body.String(), "<script>alert", name)
	}
	b.unchanged(before)
	assert.Equal(t, http.StatusNotFound, b.get("/loops/7TG9FF/refill").Code)
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
