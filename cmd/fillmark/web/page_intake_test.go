// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"maps"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func intakeForm(more url.Values) url.Values {
	form := url.Values{
		"who": {"Bea Moss, +351 910 000 111, bea@moss.example"}, "owner.mail-consent": {"yes"}, "owner.opening-consent": {"yes"},
		"machine.kind": {"desktop"}, "machine.name": {"the white cube"}, "machine.accessory": {"power cord\r\nbox"}, "machine.promised": {"2026-12-10"},
		"loop.sealed": {"yes"}, "loop.holds": {"150"}, "loop.wall": {"-5"},
		"loop.wetted-part": {"cold plate", "radiator"}, "loop.wetted-metal": {"copper", "aluminium"}, "loop.wetted-plating": {"", ""},
		"intake.complaint": {"It roars."}, "intake.symptom": {"pump loud"}, "readings.die": {"91"}, "readings.room": {"22"}, "readings.power": {"120"},
	}
	maps.Copy(form, more)
	return form
}

// taken posts an intake and returns the tag that it got.
func (b *bench) taken(form url.Values) loops.Tag {
	b.Helper()
	w := b.post("/intake", form)
	require.Equal(b, http.StatusSeeOther, w.Code, problemsIn(w))
	path, ok := strings.CutSuffix(w.Header().Get("Location"), "/receipt")
	require.True(b, ok, w.Header().Get("Location"))
	return loops.Tag(strings.TrimPrefix(path, "/loops/"))
}

func TestIntakeRegistersAllInOne(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	file := b.file(tag)
	assert.Equal(t, "Bea Moss", file.Owner.Name)
	assert.Equal(t, loops.Consent{Mail: true, Opening: true}, file.Owner.Consent)
	assert.Equal(t, []string{"power cord", "box"}, file.Machine.Accessories)
	assert.True(t, file.Loop.Sealed)
	require.Len(t, file.History, 2)
	assert.Equal(t, "It roars.", file.History[0].Intake.Complaint)
	assert.InDelta(t, 91, float64(*file.History[1].Inspection.Die), 0)

	receipt := b.get("/loops/" + string(tag) + "/receipt").Body.String()
	for _, say := range []string{"Bea Moss", "the white cube", "It roars.", "pump loud", "power cord", "Thu 10 Dec 2026", string(tag)} {
		assert.Contains(t, receipt, say)
	}
}

// A form that says nothing but who, what and how it is built is one registration
// too, however often it is sent.
func TestIntakeSentTwiceIsOne(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	form := intakeForm(url.Values{"intake.key": {"once"}})
	for name := range form {
		if strings.HasPrefix(name, "readings.") || name == "intake.complaint" || name == "intake.symptom" {
			form.Del(name)
		}
	}
	tag := b.taken(form)
	assert.Equal(t, tag, b.taken(form))
	form.Set("machine.name", "the black cube")
	w := b.post("/intake", form)
	assert.Equal(t, http.StatusConflict, w.Code)
	b.says(w, "This form was sent before and is on record", "no key is told")
	b.says(w, "Right: send it again to enter this as another", "what to do")
}

func TestIntakeOfARefilledLoop(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(url.Values{"fill.fluid": {"pg"}, "fill.mass": {"35"}, "fill.poured": {"145"}, "fill.day": {"2026-12-02"}, "fill.origin": {"workshop"}, "fill.inhibitor": {"oat"}}))
	file := b.file(tag)
	require.NotNil(t, file.Loop.State.Charge)
	assert.Equal(t, "2026-12-02", file.Loop.State.Charge.FilledTo.String())
	assert.Equal(t, loops.KindFill, file.History[len(file.History)-1].Kind)
}

// What a factory filled in is there before anything is seen, and its fluid and
// day may be unknown.
func TestIntakeOfAFactoryCharge(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(url.Values{"fill.origin": {"factory"}, "fill.filled-to": {"2023-06-30"}, "fill.filled-from": {"2022-01-01"}, "readings.verdict": {"good"}}))
	charge := b.file(tag).Loop.State.Charge
	require.NotNil(t, charge)
	assert.Empty(t, charge.Fluid)
	assert.Nil(t, charge.Mass)
	assert.Equal(t, loops.Factory, charge.Origin)
	assert.Equal(t, []string{"2022-01-01", "2023-06-30"}, []string{charge.FilledFrom.String(), charge.FilledTo.String()})
	assert.False(t, b.file(tag).Loop.State.LastKnownGood.IsZero(), "what was measured at intake is of this charge")

	tag = b.taken(intakeForm(url.Values{"who": {"Cy Fenn"}, "fill.origin": {"unknown"}, "fill.fluid": {"eg"}, "fill.filled-to": {"2024-05-01"}}))
	charge = b.file(tag).Loop.State.Charge
	assert.Equal(t, loops.UnknownOrigin, charge.Origin)
	assert.True(t, charge.FilledFrom.IsZero(), "nothing is known before the last day")
}

// Of a loop that was registered empty the next intake asks what is in it.
func TestIntakeOfAKnownLoopWithoutACharge(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	b.says(b.get("/intake?tag="+string(tag)), "What is in it, if somebody knows", "nothing is on record of its charge")
	assert.Equal(t, tag, b.taken(url.Values{"tag": {string(tag)}, "intake.complaint": {"hot"}, "fill.origin": {"factory"}, "fill.filled-to": {"2023-06-30"}}))
	charge := b.file(tag).Loop.State.Charge
	require.NotNil(t, charge)
	assert.Equal(t, loops.Factory, charge.Origin)
	assert.NotContains(t, b.get("/intake?tag="+string(tag)).Body.String(), "What is in it, if")
}

func TestIntakeTakesHowTheLoopIsBuilt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(url.Values{
		"loop.tubing": {"rubber"}, "loop.bore": {"6"}, "loop.outer": {"9.5"}, "loop.tube-length": {"800"}, "loop.radiator-size": {"240"},
		"loop.wetted-part": {"cold plate", "radiator", "fittings", "pump"}, "loop.wetted-metal": {"copper", "aluminium", "brass", "stainless"}, "loop.wetted-plating": {"nickel", "", "nickel", ""},
	}))
	loop := b.file(tag).Loop
	assert.Equal(t, loops.Tubing{Material: "rubber", BoreMM: 6, OuterMM: 9.5, LengthMM: 800}, loop.Tubing)
	assert.InDelta(t, 240, loop.RadiatorSizeMM, 0)
	assert.Equal(t, []loops.WettedPart{
		{Part: "cold plate", Metal: "copper", Plating: "nickel"}, {Part: "radiator", Metal: "aluminium"},
		{Part: "fittings", Metal: "brass", Plating: "nickel"}, {Part: "pump", Metal: "stainless"},
	}, loop.Wetted)
	b.says(b.get("/loops/"+string(tag)+"/edit"), `value="9.5"`, "the page that changes it")
	b.says(b.get("/loops/"+string(tag)), "cold plate copper plated with nickel; radiator aluminium; fittings brass plated with nickel; pump stainless; radiator size 240 mm; tubing rubber, bore 6 mm, outside 9.5 mm, 800 mm long", "the loop's page")
}

// A donor unit is taken in as the factory filled it and opened, all from pages.
func TestIntakeOfADonorUnitToBeOpened(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	donor := url.Values{
		"machine.kind": {"donor unit"}, "machine.name": {"box of spares"}, "machine.maker": {"Lowtide Works"}, "machine.model": {"T1"}, "loop.sealed": {"yes"}, "loop.holds": {"90"},
		"loop.wetted-part": {"cold plate"}, "loop.wetted-metal": {"copper"},
		"fill.origin": {"factory"}, "fill.filled-to": {"2023-06-30"}, "fill.filled-from": {"2023-01-01"},
	}
	tag := b.taken(donor)
	charge := b.file(tag).Loop.State.Charge
	require.NotNil(t, charge)
	assert.Equal(t, loops.Factory, charge.Origin)
	assert.Empty(t, charge.Fluid)
	assert.Nil(t, charge.Mass)
	assert.Equal(t, []string{"2023-01-01", "2023-06-30"}, []string{charge.FilledFrom.String(), charge.FilledTo.String()})
	assert.Equal(t, http.StatusSeeOther, b.send("/openings", part{"tag", string(tag), ""}, part{"cause", "clog", ""}).Code)
	found, err := b.shop.OpeningsOf(tag)
	require.NoError(t, err)
	require.Len(t, found, 1)
	assert.Greater(t, found[0].MonthsTo, found[0].MonthsFrom)

	donor.Del("fill.filled-from") // nobody knows since when
	assert.True(t, b.file(b.taken(donor)).Loop.State.Charge.FilledFrom.IsZero())

	for field, wrong := range map[string]string{"fill.filled-from": "2023-07-01", "fill.origin": "elsewhere", "fill.mass": "30"} {
		bad := maps.Clone(donor)
		bad.Set(field, wrong)
		assert.Equal(t, http.StatusUnprocessableEntity, b.post("/intake", bad).Code, field)
	}
}

func TestIntakeAsksWhetherTheOwnerIsTheSame(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first := b.file(b.taken(intakeForm(nil)))
	before := b.bytesOnDisk()
	w := b.post("/intake", intakeForm(url.Values{"who": {" bea  moss"}}))
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "say below whether it is the same person")
	assert.Contains(t, w.Body.String(), `name="is" value="owner 1"`)
	b.unchanged(before)
	again := b.file(b.taken(intakeForm(url.Values{"is": {"owner 1"}})))
	assert.Equal(t, first.Owner.ID, again.Owner.ID)
	other := b.file(b.taken(intakeForm(url.Values{"is": {"new"}})))
	assert.NotEqual(t, first.Owner.ID, other.Owner.ID)
}

func TestIntakeOfAKnownLoop(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	assert.Contains(t, b.get("/intake?tag="+string(tag)).Body.String(), "comes in again")
	assert.Equal(t, tag, b.taken(url.Values{"tag": {string(tag)}, "intake.complaint": {"too hot"}}))
	assert.True(t, b.file(tag).Loop.State.HandedOver.IsZero(), "it is in the workshop")
}

func TestIntakeThatIsWrongChangesNothingAndShowsWhatWasTyped(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.ana()
	before := b.bytesOnDisk()
	for name, tt := range map[string]struct {
		form url.Values
		says string
	}{
		"no name":            {intakeForm(url.Values{"who": {""}}), `id="who-problem"`},
		"bad mail":           {intakeForm(url.Values{"who": {"bea@at@moss"}}), `value="bea@at@moss"`},
		"no kind":            {intakeForm(url.Values{"machine.kind": {""}}), `href="#machine-kind"`},
		"too much":           {intakeForm(url.Values{"loop.holds": {"5000 l"}}), `id="loop-holds-problem"`},
		"volume in words":    {intakeForm(url.Values{"loop.holds": {"a lot"}}), `value="a lot"`},
		"a metal unknown":    {intakeForm(url.Values{"loop.wetted-metal": {"gold", "copper"}}), `id="loop-wetted-problem"`},
		"to come":            {intakeForm(url.Values{"fill.fluid": {"pg"}, "fill.mass": {"35"}, "fill.poured": {"140"}, "fill.day": {"2027-12-02"}}), `id="fill-day-problem"`},
		"more than it holds": {intakeForm(url.Values{"fill.fluid": {"pg"}, "fill.mass": {"35"}, "fill.poured": {"900"}, "fill.day": {"2026-12-02"}}), "750 ml too much"},
		"workshop unknown":   {intakeForm(url.Values{"fill.origin": {"workshop"}, "fill.day": {"2026-12-02"}}), `id="fill-poured-problem"`},
		"interval reversed":  {intakeForm(url.Values{"fill.origin": {"factory"}, "fill.filled-to": {"2023-06-30"}, "fill.filled-from": {"2024-01-01"}}), `id="fill-filled-to-problem"`},
		"unknown, strength":  {intakeForm(url.Values{"fill.origin": {"factory"}, "fill.mass": {"30"}, "fill.filled-to": {"2023-06-30"}}), `id="fill-mass-problem"`},
		"a bore in words":    {intakeForm(url.Values{"loop.bore": {"wide"}}), `id="loop-bore-problem"`},
		"unknown tag":        {url.Values{"tag": {"7K3QXX"}, "intake.complaint": {"x"}}, `id="who-problem"`},
		"hostile":            {intakeForm(url.Values{"who": {hostile}, "machine.name": {hostile + "\x00"}, "intake.complaint": {hostile}}), "&lt;script&gt;"},
	} {
		w := b.post("/intake", tt.form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		b.says(w, tt.says, name+strings.Join(problemsIn(w), " "))
		assert.NotContains(t, w.Body.String(), "<script>alert", name)
	}
	b.unchanged(before)
	assert.Zero(t, b.wakes)
}

// Who, what, what hurts and a photo are enough for any kind of machine; the
// loop's page and what is done to it ask for the rest.
func TestIntakeWithFourFields(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, kind := range loops.MachineKinds() {
		tag := b.taken(url.Values{"who": {"Ilse " + string(kind) + ", 5550100"}, "machine.kind": {string(kind)}, "intake.complaint": {"drips"}})
		file := b.file(tag)
		assert.Equal(t, loops.NotKnown, file.Loop.BuiltKnown.How, kind)
		assert.Equal(t, string(kind), file.Machine.Name)
		assert.Equal(t, kind == loops.DonorUnit, file.Owner.ID == 0)
		b.says(b.get("/loops/"+string(tag)), "Sealed or open, and what its parts are made of: look at it", string(kind))
		b.says(b.get("/loops/"+string(tag)), "sealed or open is not known", string(kind))
		sheet := b.get("/loops/" + string(tag) + "/refill").Body.String()
		assert.NotContains(t, sheet, "Sealed, holds 0", "nobody said so")
		assert.Contains(t, squeeze(sheet), "<p>Sealed or open is not known; what it holds is not known; ")
		edit := b.get("/loops/" + string(tag) + "/edit").Body.String()
		assert.NotContains(t, edit, `value="yes" checked> sealed`, "nobody said so")
		w := b.post("/loops/"+string(tag)+"/edit", url.Values{"machine.revision": {"1"}, "loop.revision": {"1"}, "machine.kind": {string(kind)}, "machine.name": {"x"},
			"loop.sealed": {"no"}, "loop.built-known": {"not known"}})
		require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
		file = b.file(tag)
		assert.False(t, file.Loop.Sealed)
		assert.Empty(t, file.Loop.BuiltKnown.How, "somebody looked")
	}
}

// The counter finds who was here by name, telephone, mail or tag, with nothing
// recorded and all kept that was typed; what is chosen is taken.
func TestIntakeFindsWhoWasHere(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	before := b.bytesOnDisk()
	for _, typed := range []string{"moss", "910 000", "bea@moss", strings.ToLower(string(tag))} {
		b.says(b.get("/intake?"+url.Values{"who": {typed}}.Encode()), "this machine again", typed)
		w := b.post("/intake", url.Values{"who": {typed}, "intake.complaint": {"loud at night"}, "find": {"yes"}})
		assert.Equal(t, http.StatusOK, w.Code)
		b.says(w, `value="`+string(tag)+`"`, typed)
		b.says(w, "loud at night", "nothing typed is lost")
	}
	b.says(b.get("/intake?who=nobody+at+all"), "Nobody on record fits that", "says so")
	b.unchanged(before)
	assert.Equal(t, tag, b.taken(url.Values{"who": {"moss"}, "is": {string(tag)}, "intake.complaint": {"hot"}}))
	assert.Equal(t, "hot", b.file(tag).History[2].Intake.Complaint)
}

// Of a model that was here before the rest is assumed as in its last unit.
func TestIntakeOfTheSameModel(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	first := b.taken(intakeForm(url.Values{"machine.model": {"Heron T1"}}))
	tag := b.taken(url.Values{"who": {"Cy Fenn"}, "machine.kind": {"desktop"}, "machine.model": {"heron t1"}, "intake.complaint": {"hot"}})
	loop := b.file(tag).Loop
	assert.Equal(t, loops.Assumed, loop.BuiltKnown.How)
	assert.Contains(t, loop.BuiltKnown.By, string(first))
	assert.InDelta(t, 0.15, float64(loop.Volume), 1e-9)
	assert.Nil(t, loop.ColdestWall)
	b.says(b.get("/loops/"+string(tag)), "sealed (assumed)", "marked as such")
}

// Who was chosen from what one name found is not the owner of a machine that was
// brought in under another.
func TestIntakeAsksAgainWhereAnotherNameWasTyped(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.taken(intakeForm(nil))
	before := b.bytesOnDisk()
	form := intakeForm(url.Values{"who": {"Bert Klein"}, "found-for": {"Bea"}, "is": {"owner 1"}})
	w := b.post("/intake", form)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, "what was chosen was found for Bea", "who")
	assert.Contains(t, w.Body.String(), `name="who" value="Bert Klein"`)
	assert.NotContains(t, w.Body.String(), `value="owner 1" checked`)
	b.unchanged(before)
	form.Set("found-for", "Bert Klein")
	form.Del("is")
	assert.Equal(t, "Bert Klein", b.file(b.taken(form)).Owner.Name)
}

func TestIntakeKeepsAllWhereAPhotoIsTooMany(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	parts := []part{{"who", "Ona Rask, 5550134", ""}, {"machine.kind", "desktop", ""}}
	for tone := range uint8(5) {
		parts = append(parts, part{"photo", aPhoto(t, 40*tone), "a.jpg"})
	}
	w := b.send("/intake", append(parts, part{"intake.complaint", "it drips", ""})...)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, "at most 4 at a time; the first ones are kept", "the photos")
	b.says(w, `value="Ona Rask, 5550134"`, "what came before the photos")
	b.says(w, "it drips", "and after them")
	assert.Equal(t, 4, strings.Count(w.Body.String(), `name="kept"`))
}

func TestIntakeMarksTheKind(t *testing.T) {
	t.Parallel()
	w := newBench(t).post("/intake", url.Values{"who": {"Ona Rask"}})
	assert.Contains(t, w.Body.String(), `name="machine.kind" value="desktop" aria-invalid="true" aria-describedby="machine-kind-problem"`)
}
