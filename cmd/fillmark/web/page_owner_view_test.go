// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/testdata/seeded"
)

// canary is a word that stands for everything an owner says or is.
func canary(o loops.Owner) string { return fmt.Sprintf("canary%dz", o.ID) }

// holder is an owner with a canary in every field.
func (b *bench) holder(n int) loops.Owner {
	b.Helper()
	s := workshop.Stamp{At: b.now, By: "local:test"}
	o, err := b.shop.AddOwner(s, loops.Owner{Name: fmt.Sprint("Holder ", n)})
	require.NoError(b, err)
	word := canary(o)
	o.Name, o.Phone, o.Address, o.Email, o.Consent = word, "+351 "+word, word+" lane", word+"@garden.example", loops.Consent{Mail: true, Opening: true}
	done, err := b.shop.Edit(s, workshop.Edit{Owner: &o})
	require.NoError(b, err)
	return done.Owner
}

// sayings are acts whose words are the owner's: each leaves a canary.
func sayings(word string) []acts.Act {
	has := func(note string) acts.Doing { return acts.Doing{Note: note, Already: true} }
	return []acts.Act{
		&acts.Note{Doing: has(word)},
		&acts.Intake{Doing: has(word), Intake: loops.Intake{Complaint: word}},
		&acts.Plan{Doing: has(word), Task: loops.Look, Months: new(4), Why: word},
		&acts.Return{Doing: has(word), Return: loops.Return{Why: word}},
	}
}

// seenBy is all that an owner gets to read of what is theirs, and of what was.
func (b *bench) seenBy(o loops.Owner, tag loops.Tag, holds bool) map[string]string {
	b.Helper()
	o, err := b.store.Owner(o.ID)
	require.NoError(b, err)
	get := func(path string) string {
		w := b.get(path)
		require.Contains(b, []int{http.StatusOK, http.StatusUnprocessableEntity}, w.Code, "%s: %s", path, w.Body)
		return w.Body.String()
	}
	seen := map[string]string{
		"page": get(b.ownerLink(o)), "stop page": get(b.stopLink(o)), "calendar": get(b.shop.CalendarPath(o, b.now)),
	}
	var export bytes.Buffer
	require.NoError(b, b.store.ExportOwner(o.ID, &export))
	seen["export"] = export.String()
	if holds {
		at := "/loops/" + string(tag)
		seen["sheet"], seen["label"], seen["receipt"] = get(at+"/handover"), get(at+"/label"), get(at+"/receipt")
		seen["letter"] = get("/api/v1" + at + "/letter")
	}
	for m, err := range b.store.Messages("") {
		require.NoError(b, err)
		if m.Owner == o.ID {
			whole, err := b.store.Message(m.Key)
			require.NoError(b, err)
			seen["mail "+string(m.Key)] = strings.ReplaceAll(string(whole.Raw), "=\r\n", "")
		}
	}
	return seen
}

// However often a machine goes from one owner to another, nobody reads a word of
// somebody else. Some hundred transfers; FILLMARK_CAMPAIGN=full makes it ten
// thousand.
func TestCampaignOwnersNeverReadEachOther(t *testing.T) {
	t.Parallel()
	want := 1
	if seeded.Long() {
		want = 10_000
	}
	transfers := 0
	for round := 0; transfers < want; round++ {
		t.Run(fmt.Sprint("register ", round), func(t *testing.T) { transfers += transfersAtRandom(t) })
	}
	t.Logf("%d transfers", transfers)
}

// transfersAtRandom hands machines on among owners of one new register, and says
// how often.
func transfersAtRandom(t *testing.T) (transfers int) {
	b := newBench(t)
	rapid.Check(t, func(t *rapid.T) {
		b.now = b.now.Add(24 * time.Hour)
		owners := []loops.Owner{b.holder(0), b.holder(1), b.holder(2)}
		holds := 0
		kept, err := b.shop.AddMachine(workshop.Stamp{At: b.now, By: "local:test"}, loops.Machine{Owner: owners[0].ID, Kind: loops.Desktop, Name: "tower"})
		require.NoError(t, err)
		wall := chemistry.Celsius(-10)
		loop, err := b.shop.AddLoop(workshop.Stamp{At: b.now, By: "local:test"}, loops.Loop{Machine: kept.ID, Construction: loops.Construction{
			Sealed: true, Volume: 0.6, ColdestWall: &wall, Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper}},
		}})
		require.NoError(t, err)
		does := func(a acts.Act) {
			b.now = b.now.Add(time.Hour)
			_, err := b.shop.Act(workshop.Stamp{At: b.now, By: "local:test"}, loop.Tag, a)
			require.NoError(t, err, "%T", a)
		}
		mass := chemistry.MassFraction(0.35)
		day := loops.DayOf(b.now, time.UTC)
		does(&acts.Fill{Doing: acts.Doing{Already: true}, Charge: loops.Charge{
			Fluid: chemistry.PropyleneGlycol, Mass: &mass, MassUncertainty: 0.01, Volume: 0.6, Origin: loops.WorkshopFill, FilledFrom: day, FilledTo: day,
		}})
		for range rapid.IntRange(1, 4).Draw(t, "transfers") {
			word := canary(owners[holds])
			machine, err := b.store.Machine(kept.ID)
			require.NoError(t, err)
			machine.Name, machine.Accessories, machine.WarrantyNote = word, []string{word}, word
			_, err = b.shop.Edit(workshop.Stamp{At: b.now, By: "local:test"}, workshop.Edit{Machine: &machine})
			require.NoError(t, err)
			says := sayings(word)
			for _, i := range rapid.SliceOfNDistinct(rapid.IntRange(0, len(says)-1), 0, 3, rapid.ID[int]).Draw(t, "says") {
				does(says[i])
			}
			if rapid.Bool().Draw(t, "answers") {
				owner, err := b.store.Owner(owners[holds].ID)
				require.NoError(t, err)
				_, err = b.shop.AnswerAbout(workshop.Stamp{At: b.now, By: "owner"}, owner, loops.Answer{Answer: loops.SomethingOff, Words: word}, "")
				require.NoError(t, err)
			}
			next := (holds + rapid.IntRange(1, 2).Draw(t, "to")) % len(owners)
			does(&acts.Transfer{Doing: acts.Doing{Note: word + canary(owners[next])}, Transfer: loops.Transfer{To: owners[next].ID}})
			transfers++
			if rapid.Bool().Draw(t, "struck") {
				file := b.file(loop.Tag) // no act strikes a transfer out, an older register may have it so
				strike := loops.Entry{ID: file.Loop.LastEntry + 1, Loop: file.Loop.ID, Day: loops.DayOf(b.now, time.UTC), By: "local:test", Kind: loops.KindCorrection,
					Correction: &loops.Correction{Strikes: file.History[len(file.History)-1].ID, Why: canary(owners[next])}}
				file.Loop.LastEntry, file.Loop.State = strike.ID, loops.Fold(append(file.History, strike))
				require.NoError(t, b.store.Commit(loops.Change{At: b.now, By: "local:test", Action: "strike", Loops: []loops.Loop{file.Loop}, Entries: []loops.Entry{strike}}))
			}
			holds = next
		}
		for i, o := range owners {
			for what, text := range b.seenBy(o, loop.Tag, i == holds) {
				for _, other := range owners {
					if other.ID != o.ID {
						require.NotContains(t, text, canary(other), "%s of owner %d, machine held by %d", what, o.ID, owners[holds].ID)
					}
				}
			}
		}
	})
	return transfers
}

// What is on paper for the new owner, and on their page, is theirs.
func TestNewOwnerReadsNothingOfTheFormer(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	b.now = noon.Add(time.Hour)
	_, err := b.shop.AnswerAbout(workshop.Stamp{At: noon, By: "owner"}, file.Owner, loops.Answer{Answer: loops.SomethingOff, Words: "it gurgles when Carla sleeps"}, "")
	require.NoError(t, err)
	to := b.holder(1)
	recorded, err := b.shop.Act(workshop.Stamp{At: b.now, By: "local:test"}, file.Loop.Tag, &acts.Transfer{Transfer: loops.Transfer{To: to.ID}})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(recorded.Warnings, " "), "“desktop”", "it says that the name is gone")
	page := b.get(b.ownerLink(to))
	assert.NotContains(t, page.Body.String(), "gurgles")
	assert.NotContains(t, page.Body.String(), "the grey tower")
	assert.NotContains(t, page.Body.String(), "On record")
	b.says(page, "We were told that something is off", "that the workshop still looks into it")
	for _, path := range []string{"/handover", "/label", "/receipt"} {
		w := b.do(httptest.NewRequest(http.MethodGet, "http://127.0.0.1/loops/"+string(file.Loop.Tag)+path, nil))
		require.Equal(t, http.StatusOK, w.Code)
		assert.NotContains(t, w.Body.String(), "grey tower", path)
	}
	b.says(b.get("/loops/"+string(file.Loop.Tag)), "it gurgles when Carla sleeps", "the workshop's own page has it still")
}
