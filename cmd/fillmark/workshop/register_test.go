// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify/links"
	"fillmark/schedule"
)

// Two technicians record on one loop at once: nothing is lost, and the history
// has no gap.
func TestTwoTechniciansRecordAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	loop := b.handedOver(t, "", stamp)
	const each = 20
	var both sync.WaitGroup
	for _, who := range []string{"local:anna", "local:bo"} {
		both.Go(func() {
			for i := range each {
				_, err := b.Do(workshop.Stamp{At: stamp.At, By: who}, loop.Tag, loops.Entry{Kind: loops.KindNote, Note: fmt.Sprint(who, i)})
				assert.NoError(t, err)
			}
		})
	}
	both.Wait()
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.Len(t, file.History, 3+2*each)
	for i, e := range file.History {
		assert.Equal(t, loops.EntryID(i+1), e.ID)
	}
}

func TestEditsRefuseStaleRevisions(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	loop := b.handedOver(t, "ana@garden.example", stamp)
	container, err := b.AddContainer(stamp, loops.Container{Kind: loops.PremixBottle, Product: "ready", Fluid: "pg", Left: 1})
	require.NoError(t, err)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	machine, err := b.store.Machine(1)
	require.NoError(t, err)
	for _, edit := range []func() error{
		func() error { _, err := b.Edit(stamp, workshop.Edit{Owner: &owner}); return err },
		func() error { _, err := b.Edit(stamp, workshop.Edit{Machine: &machine}); return err },
		func() error { _, err := b.Edit(stamp, workshop.Edit{Loop: &loop}); return err },
		func() error { _, err := b.Edit(stamp, workshop.Edit{Container: &container}); return err },
	} {
		require.NoError(t, edit())
		assert.ErrorIs(t, edit(), loops.ErrConflict, "the second writer read what was there before the first")
	}
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.NotEmpty(t, file.Loop.Plan.Tasks, "an edit keeps the loop planned")
}

// A registration that is sent again with its key is one, whether or not anything
// was done to the machine with it; the same key for another machine is refused.
func TestRegistrationIsOneByItsKey(t *testing.T) {
	t.Parallel()
	for _, did := range [][]acts.Act{nil, {&acts.Intake{Intake: loops.Intake{Complaint: "it drips"}}}} {
		b := newBench(t)
		stamp := at("2026-05-01 15")
		reg := workshop.Registration{
			Owner: loops.Owner{Name: "Ana Ruizado"}, Machine: loops.Machine{Kind: loops.Desktop, Name: "the grey tower"},
			Loop: loops.Loop{Construction: loops.Construction{Volume: 0.5}}, Acts: did, Key: "k1",
		}
		first, err := b.Register(stamp, reg)
		require.NoError(t, err)
		again, err := b.Register(at("2026-05-01 16"), reg)
		require.NoError(t, err)
		assert.Equal(t, first, again)
		for range 2 { // another key is another machine, however alike
			reg.Key = "k2"
			_, err = b.Register(stamp, reg)
			require.NoError(t, err)
		}
		found, err := b.FindLoops(workshop.LoopQuery{})
		require.NoError(t, err)
		assert.Len(t, found, 2)

		other := reg
		other.Key, other.Machine.Name = "k1", "the white cube"
		_, err = b.Register(stamp, other)
		require.ErrorIs(t, err, loops.ErrRepeated)
		assert.ErrorContains(t, err, "the field name")
		other = reg
		other.Key, other.Acts = "k1", []acts.Act{&acts.Intake{Intake: loops.Intake{Complaint: "it roars"}}}
		_, err = b.Register(stamp, other)
		require.ErrorIs(t, err, loops.ErrRepeated)
		assert.ErrorContains(t, err, "the field complaint")

		// Of several acts none is lost behind the first one's answer.
		read := func(die chemistry.Celsius) []acts.Act {
			return []acts.Act{&acts.Intake{}, &acts.Readings{Inspection: loops.Inspection{Die: &die}}}
		}
		reg.Key, reg.Acts = "k3", read(55)
		third, err := b.Register(stamp, reg)
		require.NoError(t, err)
		again, err = b.Register(at("2026-05-01 16"), reg)
		require.NoError(t, err)
		assert.Equal(t, third, again)
		reg.Acts = read(75)
		_, err = b.Register(stamp, reg)
		require.ErrorIs(t, err, loops.ErrRepeated)
		assert.ErrorContains(t, err, "something else in the field die of the readings")
	}
}

// Four things put any kind of machine on record; what nobody said is not known,
// and of the second unit of a model it is assumed as in the last.
func TestArrivalWithFourThings(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	for i, kind := range loops.MachineKinds() {
		a := workshop.Arrival{Who: fmt.Sprintf("Bea Moss %d, +351 910 000 111", i), Kind: kind, Complaint: "it roars", Key: string(kind)}
		loop, err := b.Arrive(stamp, a)
		require.NoError(t, err, kind)
		again, err := b.Arrive(at("2026-05-01 16"), a)
		require.NoError(t, err, kind)
		assert.Equal(t, loop.ID, again.ID, "sent twice is one")
		assert.Equal(t, loops.NotKnown, loop.BuiltKnown.How)
		assert.Nil(t, loop.State.Charge, "nobody knows what is in it")
		file, err := b.File(loop.Tag)
		require.NoError(t, err)
		assert.Equal(t, kind == loops.DonorUnit, file.Owner.ID == 0, kind)
		assert.Equal(t, "it roars", file.History[0].Intake.Complaint)
	}
	_, err := b.Arrive(stamp, workshop.Arrival{Who: "bea  moss 1", Kind: loops.Desktop})
	require.ErrorContains(t, err, "number 2, or somebody new")

	first, err := b.Arrive(stamp, workshop.Arrival{Who: "Rui", Kind: loops.LaserChiller, Model: "Heron T1", Key: "r1"})
	require.NoError(t, err)
	was := first.BuiltKnown
	assert.Equal(t, loops.NotKnown, was.How, "no other unit is on record")
	second, err := b.Arrive(stamp, workshop.Arrival{Who: "Ona", Kind: loops.LaserChiller, Model: "heron t1"})
	require.NoError(t, err)
	assert.Equal(t, loops.NotKnown, second.BuiltKnown.How, "nobody has looked at the other one either")

	looked := first
	looked.Sealed, looked.BuiltKnown, looked.Volume, looked.ColdestWall = false, loops.Known{}, 4, new(chemistry.Celsius(5))
	_, err = b.Edit(stamp, workshop.Edit{Loop: &looked})
	require.NoError(t, err)
	_, err = b.Edit(stamp, workshop.Edit{Loop: &loops.Loop{ID: second.ID, Tag: second.Tag, Machine: second.Machine, Revision: second.Revision, Construction: looked.Construction}})
	require.NoError(t, err)
	a := workshop.Arrival{Who: "Pat", Kind: loops.LaserChiller, Model: "Heron T1", Key: "p"}
	third, err := b.Arrive(stamp, a)
	require.NoError(t, err)
	assert.False(t, third.Sealed)
	assert.Equal(t, loops.Known{How: loops.Assumed, By: "as in " + string(second.Tag) + ", the last unit of its model"}, third.BuiltKnown)
	assert.Equal(t, third.BuiltKnown, third.VolumeKnown)
	assert.Nil(t, third.ColdestWall, "where it stands is not its model's")
	again, err := b.Arrive(stamp, a)
	require.NoError(t, err, "sent twice is one, though it is the last of its model itself by now")
	assert.Equal(t, third.ID, again.ID)
	a.Complaint = "something else"
	_, err = b.Arrive(stamp, a)
	require.ErrorIs(t, err, loops.ErrRepeated)
}

func TestMatchesAtTheCounter(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop, err := b.Arrive(at("2026-05-01 15"), workshop.Arrival{Who: "Bea Moss, +351 910 000 111, bea@moss.example", Kind: loops.Desktop})
	require.NoError(t, err)
	for _, text := range []string{"bea", "910 000", "moss.example"} {
		found, err := b.Matches(text, 10)
		require.NoError(t, err)
		require.Len(t, found, 2, text)
		assert.Equal(t, "Bea Moss", found[0].Owner.Name)
		assert.Empty(t, found[0].Tag)
		assert.Equal(t, loop.Tag, found[1].Tag)
	}
	found, err := b.Matches(strings.ToLower(string(loop.Tag)), 10)
	require.NoError(t, err)
	require.Len(t, found, 1)
	assert.Equal(t, loop.Tag, found[0].Tag)
	for _, text := range []string{"", "b", "nobody"} {
		found, err = b.Matches(text, 10)
		require.NoError(t, err)
		assert.Empty(t, found, text)
	}
	found, err = b.Matches("bea", 1)
	require.NoError(t, err)
	assert.Len(t, found, 1)
}

func TestTransferMovesTheMachineWithAllItsLoops(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	loop := b.handedOver(t, "ana@garden.example", stamp)
	second, err := b.AddLoop(stamp, loops.Loop{Machine: loop.Machine, Construction: loops.Construction{Volume: 0.2, Sealed: true}})
	require.NoError(t, err)
	bo, err := b.AddOwner(stamp, loops.Owner{Name: "Bo"})
	require.NoError(t, err)
	_, err = b.Do(stamp, loop.Tag, loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{From: 9, To: bo.ID}})
	require.NoError(t, err)
	for _, tag := range []loops.Tag{loop.Tag, second.Tag} {
		file, err := b.File(tag)
		require.NoError(t, err)
		assert.Equal(t, bo.ID, file.Owner.ID)
		assert.Equal(t, &loops.Transfer{From: loops.OwnerID(1), To: bo.ID}, file.History[len(file.History)-1].Transfer)
	}
	lines, err := b.FindLoops(workshop.LoopQuery{Owner: 1})
	require.NoError(t, err)
	assert.Empty(t, lines)
	report, err := b.store.Check(t.Context())
	require.NoError(t, err)
	assert.True(t, report.OK(), report.Problems)
}

// Whatever is filled, topped up and struck out, in any order: what is left in
// a container and what its uses say make up what was in it, and the uses are
// those of the entries that stand.
func TestContainersKeepCount(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		s, err := store.Open(filepath.Join(folder, fmt.Sprint(n)), store.Options{})
		require.NoError(rt, err)
		defer func() { require.NoError(rt, s.Close()) }()
		w := workshop.New(s, workshop.Settings{Name: "x", From: "b@x.example", Zone: time.UTC, Policy: schedule.DefaultPolicy()}, rand.Reader, keys(t, 1))
		stamp := at("2026-05-01 15")
		machine, err := w.AddMachine(stamp, loops.Machine{Kind: loops.DonorUnit, Name: "rig"})
		require.NoError(rt, err)
		loop, err := w.AddLoop(stamp, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 1}})
		require.NoError(rt, err)
		const full = chemistry.Litre(0.7)
		_, err = w.AddContainer(stamp, loops.Container{Kind: loops.PremixBottle, Product: "ready", Lot: "L", Fluid: "pg", Mass: new(chemistry.MassFraction(0.4)), Left: full})
		require.NoError(rt, err)
		for step := range rapid.IntRange(1, 6).Draw(rt, "steps") {
			pour := []loops.Pour{{Container: 1, Volume: chemistry.Litre(rapid.IntRange(1, 400).Draw(rt, "ml")) / 1000}}
			e := loops.Entry{Day: loops.Day{Year: 2026, Month: 1, Dom: 1 + rapid.IntRange(0, 27).Draw(rt, "day")}}
			switch file, err := w.File(loop.Tag); {
			case err != nil:
				rt.Fatal(err)
			case step > 0 && rapid.Bool().Draw(rt, "strike"):
				e.Kind = loops.KindCorrection
				e.Correction = &loops.Correction{Strikes: loops.EntryID(rapid.IntRange(1, step).Draw(rt, "struck")), Why: "wrong"}
			case file.Loop.State.Charge != nil && rapid.Bool().Draw(rt, "top up"):
				e.Kind, e.TopUp = loops.KindTopUp, &loops.TopUp{Poured: pour}
			default:
				e.Kind, e.Fill = loops.KindFill, &loops.Fill{Poured: pour, Charge: loops.Charge{Fluid: "pg", Mass: new(chemistry.MassFraction(0.4)), Volume: pour[0].Volume, Origin: loops.WorkshopFill, FilledTo: e.Day}}
			}
			_, _ = w.Act(stamp, loop.Tag, did(already(e))) // what is refused must change nothing, which the count below tells
			container, err := w.Container(1)
			require.NoError(rt, err)
			file, err := w.File(loop.Tag)
			require.NoError(rt, err)
			assert.ElementsMatch(rt, loops.UsesOf(loop.ID, file.History)[1], container.Uses)
			var used chemistry.Litre
			for _, u := range container.Uses {
				used += u.Volume
			}
			assert.InDelta(rt, float64(full), float64(used+container.Left), 1e-9)
		}
	})
}

// A bottle that is used for years keeps being usable: its note stays within
// bounds and says the newest.
func TestTakingOutManyTimes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	c, err := b.AddContainer(stamp, loops.Container{Kind: loops.WaterContainer, Product: "dilution water", Fluid: chemistry.DeionisedWater, Left: 10})
	require.NoError(t, err)
	for i := range 60 {
		c, err = b.TakeOut(stamp, c.ID, 0.01, fmt.Sprintf("rinse number %d of a long list of rinses", i))
		require.NoError(t, err)
	}
	assert.InDelta(t, 9.4, float64(c.Left), 1e-9)
	assert.True(t, strings.HasSuffix(c.Note, "rinse number 59 of a long list of rinses"))
	assert.NotContains(t, c.Note, "rinse number 0 ")
}

// What is left after sums of tenths can be taken out to the last.
func TestTakingOutTheLast(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	c, err := b.AddContainer(stamp, loops.Container{Kind: loops.WaterContainer, Product: "dilution water", Fluid: chemistry.DeionisedWater, Left: 0.3})
	require.NoError(t, err)
	for range 3 {
		c, err = b.TakeOut(stamp, c.ID, 0.1, "poured away")
		require.NoError(t, err)
	}
	assert.Zero(t, c.Left)
}

func TestRecallNamesWhomToCall(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	loop := b.handedOver(t, "ana@garden.example", stamp)
	c, err := b.AddContainer(stamp, loops.Container{Kind: loops.PremixBottle, Product: "ready", Lot: "K-118", Fluid: "pg", Mass: new(chemistry.MassFraction(0.4)), Left: 1, Expires: loops.Day{Year: 2026, Month: 4, Dom: 1}})
	require.NoError(t, err)
	recorded, err := b.Do(stamp, loop.Tag, loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Container: c.ID, Volume: 0.01}}}})
	require.NoError(t, err)
	require.Len(t, recorded.Warnings, 1)
	assert.Contains(t, recorded.Warnings[0], "expired")
	assert.Equal(t, "ready", recorded.Entry.TopUp.Poured[0].Liquid, "the container says what it was")
	recall, err := b.RecallOf("k-118")
	require.NoError(t, err)
	require.Len(t, recall.Lines, 1)
	assert.Equal(t, "ana@garden.example", recall.Lines[0].Email)
	assert.True(t, recall.Lines[0].StillIn)

	// Emptied, and filled again from a bottle of the lot that is not on the shelf.
	again := glycol()
	again.Lot, again.Origin, again.FilledFrom, again.FilledTo = "K-118", loops.WorkshopFill, loops.Day{Year: 2026, Month: 6, Dom: 2}, loops.Day{Year: 2026, Month: 6, Dom: 2}
	_, err = b.Do(at("2026-06-02 15"), loop.Tag,
		already(loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{Out: 0.48, Disposal: "drum 2"}}), already(loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: again}}))
	require.NoError(t, err)
	recall, err = b.RecallOf("k-118")
	require.NoError(t, err)
	require.Len(t, recall.Lines, 2)
	assert.False(t, recall.Lines[0].StillIn, "the top-up of before")
	assert.True(t, recall.Lines[1].StillIn, "what it was filled with since")
	_, err = b.RecallOf("nothing")
	assert.ErrorIs(t, err, loops.ErrNotFound)
}

// What a table writes it reads back to the same records.
func TestTableRoundTrip(t *testing.T) {
	t.Parallel()
	word := rapid.StringMatching(`[A-Za-z0-9é"';,|=+ -]{0,12}[a-z]`)
	rapid.Check(t, func(rt *rapid.T) {
		from, to := newBench(t), newBench(t)
		stamp := at("2026-05-01 15")
		for range rapid.IntRange(1, 3).Draw(rt, "owners") {
			_, err := from.AddOwner(stamp, loops.Owner{Name: "x" + word.Draw(rt, "name"), Address: "y" + word.Draw(rt, "line") + "\n" + word.Draw(rt, "town"), Consent: loops.Consent{Mail: rapid.Bool().Draw(rt, "mail")}})
			require.NoError(rt, err)
			litres := chemistry.Litre(rapid.Float64Range(0, 1000).Draw(rt, "left"))
			_, err = from.AddContainer(stamp, loops.Container{Kind: loops.PremixBottle, Product: "p" + word.Draw(rt, "product"), Fluid: "pg", Left: litres, Mass: new(chemistry.MassFraction(rapid.Float64Range(0, 1).Draw(rt, "mass")))})
			require.NoError(rt, err)
		}
		for _, table := range []workshop.TableName{workshop.OwnersTable, workshop.ContainersTable} {
			var written, again bytes.Buffer
			require.NoError(rt, from.WriteTable(table, &written))
			_, err := to.ImportTable(stamp, table, bytes.NewReader(written.Bytes()), false)
			require.NoError(rt, err, written.String())
			require.NoError(rt, to.WriteTable(table, &again))
			assert.Equal(rt, written.String(), again.String())
		}
	})
}

// Where lists are parted by semicolons a formula begins a cell after each.
func TestTablesHoldNoFormulaBehindASemicolon(t *testing.T) {
	t.Parallel()
	from, to := newBench(t), newBench(t)
	for _, name := range []string{"Bea;=1+1;x", "Cleo; @SUM(1)", "=2;-3;4"} {
		_, err := from.AddOwner(at("2026-05-01 15"), loops.Owner{Name: name})
		require.NoError(t, err)
	}
	var written bytes.Buffer
	require.NoError(t, from.WriteTable(workshop.OwnersTable, &written))
	assert.Contains(t, written.String(), "Bea;'=1+1;x")
	assert.Contains(t, written.String(), "Cleo; '@SUM(1)")
	assert.Contains(t, written.String(), "'=2;-3;4")
	_, err := to.ImportTable(at("2026-05-01 15"), workshop.OwnersTable, &written, false)
	require.NoError(t, err)
	owners, err := to.FindOwners(workshop.OwnerQuery{})
	require.NoError(t, err)
	require.Len(t, owners, 3)
	assert.Equal(t, "Bea;=1+1;x", owners[0].Name)
	assert.Equal(t, "Cleo; @SUM(1)", owners[1].Name)
}

// Where semicolons part the cells, a comma parts the decimals of numbers alone, and
// a point that may part thousands is asked about.
func TestNumbersBehindSemicolons(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	add := func(lot, left string) error {
		_, err := b.ImportTable(at("2026-05-01 15"), workshop.ContainersTable, strings.NewReader("kind;product;fluid;lot;left_ml\nwater;dilution water;deionised;"+lot+";"+left+"\n"), false)
		return err
	}
	require.NoError(t, add("4471,2", "12,5"))
	c, err := b.Container(1)
	require.NoError(t, err)
	assert.Equal(t, "4471,2", c.Lot, "a text is no number")
	assert.InDelta(t, 0.0125, float64(c.Left), 1e-12)
	var invalid *loops.InvalidError
	require.ErrorAs(t, add("x", "12.000"), &invalid)
	assert.Equal(t, "line 2, column 5 (left_ml)", invalid.Field)
	assert.Contains(t, invalid.Reason, "12000 or 12,000")
	assert.NoError(t, add("x", "0.500"), "no thousands begin with zero")
	assert.NoError(t, add("x", "12.5"))
}

// No text makes the reader of tables panic or write during a dry run.
func FuzzImportTable(f *testing.F) {
	f.Add("name,email\nAna,a@x.example\n")
	f.Add("\xef\xbb\xbfname;phone\r\n\"A \"\"b\"\"\";1\r\n")
	f.Add("name\n\"open")
	f.Add("name,name\na,b\n")
	f.Add("machine\tholds_ml\n1\t4,5\n")
	s, err := store.Open(filepath.Join(f.TempDir(), "register.db"), store.Options{})
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, s.Close()) })
	w := workshop.New(s, workshop.Settings{Zone: time.UTC, Policy: schedule.DefaultPolicy()}, rand.Reader, links.Keys{})
	f.Fuzz(func(t *testing.T, text string) {
		for _, table := range workshop.TableNames() {
			report, err := w.ImportTable(at("2026-05-01 15"), table, strings.NewReader(text), true)
			if err == nil {
				assert.Positive(t, report.Rows)
			}
			assert.False(t, report.Written)
		}
	})
}

// What is on the shelf is checked, kept and discarded on days that have come, and
// leaves once.
func TestShelfRefusesDaysToCome(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	s, later := at("2026-05-02 10"), loops.Day{Year: 2062, Month: 11, Dom: 30}
	tag := b.handedOver(t, "", s).Tag
	i, err := b.AddInstrument(s, loops.Instrument{Kind: loops.Refractometer, Name: "hand refractometer"})
	require.NoError(t, err)
	sample, err := b.AddSample(s, tag, loops.RetainedSample{Place: "rack B2"})
	require.NoError(t, err)
	for name, wrong := range map[string]func() error{
		"check": func() error {
			_, err := b.CheckInstrument(s, i.ID, loops.InstrumentCheck{Day: later, Against: "distilled water"})
			return err
		},
		"retire": func() error { _, err := b.RetireInstrument(s, i.ID, later); return err },
		"sample": func() error {
			_, err := b.AddSample(s, tag, loops.RetainedSample{Place: "rack B2", Taken: later})
			return err
		},
		"discard": func() error { _, err := b.DiscardSample(s, sample.ID, later); return err },
	} {
		assert.ErrorContains(t, wrong(), "a day that has come; today is 2026-05-02", name)
	}
	_, err = b.RetireInstrument(s, i.ID, loops.Day{Year: 2026, Month: 5, Dom: 1})
	require.NoError(t, err)
	_, err = b.RetireInstrument(s, i.ID, loops.Day{})
	assert.ErrorContains(t, err, "it was retired on 2026-05-01")
}
