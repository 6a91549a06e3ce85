// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// did is the act that wrote an entry like this.
func did(e loops.Entry) acts.Act {
	act, ok := acts.Entered(e)
	if !ok {
		panic("no act writes " + e.Kind) // a typo in a test
	}
	return act
}

// Do does the acts that wrote entries like these.
func (b bench) Do(s workshop.Stamp, tag loops.Tag, entries ...loops.Entry) (workshop.Recorded, error) {
	var all []acts.Act
	for _, e := range entries {
		all = append(all, did(e))
	}
	return b.Act(s, tag, all...)
}

// already marks an entry as one of what had happened when it was judged.
func already(e loops.Entry) loops.Entry {
	e.Judged = &loops.Judged{AlreadyDone: true}
	return e
}

// dry is a leak check of full length that ended on the day.
func dry(day loops.Day) loops.Entry {
	return loops.Entry{Kind: loops.KindLeakCheck, Day: day, LeakCheck: &loops.LeakCheck{Hours: loops.LeakCheckHours, Dry: true}}
}

// proven is a proof that holds.
func proven(day loops.Day) loops.Entry {
	after := *reading(100, 52)
	after.Verdict = loops.Good
	return loops.Entry{Kind: loops.KindProof, Day: day, Proof: &loops.Proof{Before: *reading(100, 92), After: after}}
}

// givenBack is a hand-over without a proof, to an owner who lets the loop be
// opened.
func givenBack(day loops.Day, mail bool) loops.Entry {
	return loops.Entry{Kind: loops.KindHandover, Day: day, Handover: &loops.Handover{Consent: loops.Consent{Mail: mail, Opening: true}, Unproved: "its load is not here"}}
}

// filledAndChecked fills the loop the day before the stamp's, lets the pump run
// over night and hands the machine over.
func (b bench) filledAndChecked(t testing.TB, stamp workshop.Stamp, tag loops.Tag, charge loops.Charge, mail bool) workshop.Recorded {
	t.Helper()
	day := loops.DayOf(stamp.At, time.UTC)
	charge.Origin, charge.FilledFrom, charge.FilledTo = loops.WorkshopFill, day.AddDays(-1), day.AddDays(-1)
	recorded, err := b.Do(stamp, tag, loops.Entry{Kind: loops.KindFill, Day: day.AddDays(-1), Fill: &loops.Fill{Charge: charge}}, dry(day), givenBack(day, mail))
	require.NoError(t, err)
	return recorded
}

// glycol is a charge that bears -10 °C.
func glycol() loops.Charge {
	return loops.Charge{Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Volume: 0.48}
}

// The same act without a key is asked about for ten minutes, and not longer.
func TestSameActWithinTenMinutes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-10-05 09")
	tag := b.handedOver(t, "", stamp).Tag
	note := loops.Entry{Kind: loops.KindNote, Day: loops.DayOf(stamp.At, time.UTC), Note: "the fan was dusty"}
	after := func(d time.Duration) error {
		_, err := b.Do(workshop.Stamp{At: stamp.At.Add(d), By: stamp.By}, tag, note)
		return err
	}
	require.NoError(t, after(0))
	require.ErrorIs(t, after(9*time.Minute+59*time.Second), loops.ErrRepeated)
	file, err := b.File(tag)
	require.NoError(t, err)
	was := len(file.History)
	require.NoError(t, after(10*time.Minute+time.Second))
	file, err = b.File(tag)
	require.NoError(t, err)
	require.Len(t, file.History, was+1)
}

// What is written down has happened: tomorrow is nobody's day, and today is the
// workshop's or the owner's, whichever has got further.
func TestNothingIsRecordedAhead(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-10-05 09")
	tomorrow := loops.DayOf(stamp.At, time.UTC).AddDays(1)
	note := loops.Entry{Kind: loops.KindNote, Day: tomorrow, Note: "seen"}
	loop := b.handedOver(t, "", stamp)
	_, err := b.Do(stamp, loop.Tag, note)
	require.ErrorContains(t, err, "today is 2026-10-05")

	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	file.Owner.Zone = "Pacific/Auckland" // where it is 22 o'clock; two hours on, the next day
	_, err = b.Edit(stamp, workshop.Edit{Owner: &file.Owner})
	require.NoError(t, err)
	_, err = b.Do(stamp, loop.Tag, note)
	require.ErrorContains(t, err, "today is 2026-10-05")
	_, err = b.Do(at("2026-10-05 12"), loop.Tag, note)
	require.NoError(t, err)
}

// Several acts in one form have one key. Sent again each is held against what was
// written: none that says something else is lost behind the first one's answer.
func TestSeveralActsWithOneKey(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-10-05 09")
	tag := b.handedOver(t, "", stamp).Tag
	sent := func(die chemistry.Celsius, note string, more ...acts.Act) (workshop.Recorded, error) {
		later := workshop.Stamp{At: stamp.At.Add(time.Hour), By: stamp.By}
		intake := &acts.Intake{Intake: loops.Intake{Complaint: "it roars"}}
		intake.Key = "one form"
		read := &acts.Readings{Inspection: loops.Inspection{Die: &die}}
		read.Note = note
		return b.Act(later, tag, append([]acts.Act{intake, read}, more...)...)
	}
	first, err := sent(55, "")
	require.NoError(t, err)
	file, err := b.File(tag)
	require.NoError(t, err)
	again, err := sent(55, "")
	require.NoError(t, err)
	assert.True(t, again.Repeated)
	assert.Equal(t, first.Entry, again.Entry, "the last of them")

	for name, tt := range map[string]struct {
		send       func() (workshop.Recorded, error)
		act, field string
	}{
		"one act fewer": {func() (workshop.Recorded, error) {
			intake := &acts.Intake{Intake: loops.Intake{Complaint: "it roars"}}
			intake.Key = "one form"
			return b.Act(workshop.Stamp{At: stamp.At.Add(time.Hour), By: stamp.By}, tag, intake)
		}, "readings", "act"},
		"another figure": {func() (workshop.Recorded, error) { return sent(75, "") }, "readings", "die"},
		"another note":   {func() (workshop.Recorded, error) { return sent(55, "after an hour") }, "readings", "note"},
		"one more act": {func() (workshop.Recorded, error) {
			return sent(55, "", &acts.Note{Doing: acts.Doing{Note: "ring twice"}})
		}, "note", "act"},
	} {
		_, err := tt.send()
		require.ErrorIs(t, err, loops.ErrRepeated, name)
		var of *workshop.RepeatedError
		require.ErrorAs(t, err, &of, name)
		assert.Equal(t, tt.act, of.Act, name)
		assert.Equal(t, tt.field, of.Field, name)
	}
	_, err = sent(75, "")
	require.ErrorContains(t, err, `the key "one form" was sent before with something else in the field die of the readings`)
	now, err := b.File(tag)
	require.NoError(t, err)
	assert.Len(t, now.History, len(file.History), "nothing was written")
}

// What was struck out may be said again at once: that is how it is put right.
func TestStruckOutEntryBlocksNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-10-05 09")
	tag := b.handedOver(t, "", stamp).Tag
	check := &acts.LeakCheck{Hours: 3, Dry: true}
	first, err := b.Act(stamp, tag, check)
	require.NoError(t, err)
	_, err = b.Act(stamp, tag, check)
	require.ErrorIs(t, err, loops.ErrRepeated)
	_, err = b.Act(stamp, tag, &acts.Strike{Correction: loops.Correction{Strikes: first.Entry.ID, Why: "the wrong loop, I thought"}})
	require.NoError(t, err)
	_, err = b.Act(stamp, tag, check)
	assert.NoError(t, err)
}

// A hand-over that is told late writes to nobody: the letter would say of long ago
// what may not be so any more.
func TestHandoverToldLateWritesNoLetter(t *testing.T) {
	t.Parallel()
	for days, writes := range map[int]bool{14: true, 15: false} {
		b := newBench(t)
		stamp := at("2026-10-20 09")
		day := loops.DayOf(stamp.At, time.UTC).AddDays(-days)
		owner, err := b.AddOwner(stamp, loops.Owner{Name: "Ana Ruizado", Email: "ana@garden.example", Consent: loops.Consent{Mail: true}})
		require.NoError(t, err)
		machine, err := b.AddMachine(stamp, loops.Machine{Owner: owner.ID, Kind: loops.Desktop, Name: "the grey tower"})
		require.NoError(t, err)
		loop, err := b.AddLoop(stamp, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5, ColdestWall: new(chemistry.Celsius(-10))}})
		require.NoError(t, err)
		charge := glycol()
		charge.Origin, charge.FilledFrom, charge.FilledTo = loops.WorkshopFill, day.AddDays(-2), day.AddDays(-2)
		recorded, err := b.Do(stamp, loop.Tag, loops.Entry{Kind: loops.KindFill, Day: day.AddDays(-2), Fill: &loops.Fill{Charge: charge}}, dry(day.AddDays(-1)), givenBack(day, true))
		require.NoError(t, err)
		assert.Equal(t, writes, recorded.Mailed != "", days)
		assert.Equal(t, writes, len(b.messages(t)) > 0, days)
		if !writes {
			require.NotEmpty(t, recorded.Warnings)
			assert.Contains(t, recorded.Warnings[len(recorded.Warnings)-1], "No letter goes out: the machine went back on "+day.Long())
		}
	}
}

// A table tells what the owner agreed to then; what they agree to now is what is on
// record, and they may have said no since.
func TestTableOfActsChangesNoConsent(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-10-05 09")
	owner, err := b.AddOwner(stamp, loops.Owner{Name: "Ana Ruizado", Email: "ana@garden.example"})
	require.NoError(t, err)
	machine, err := b.AddMachine(stamp, loops.Machine{Owner: owner.ID, Kind: loops.Desktop, Name: "the grey tower"})
	require.NoError(t, err)
	loop, err := b.AddLoop(stamp, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5, ColdestWall: new(chemistry.Celsius(-10))}})
	require.NoError(t, err)
	table := "tag,act,day,fluid,mass_percent,poured,hours_h,dry,unproved,mail_consent\n" +
		string(loop.Tag) + ",fill,2026-10-01,pg,40,480ml,,,,\n" +
		string(loop.Tag) + ",leakcheck,2026-10-02,,,,24,yes,,\n" +
		string(loop.Tag) + ",handover,2026-10-03,,,,,,no load here,yes\n"
	report, err := b.ImportTable(stamp, workshop.ActsTable, strings.NewReader(table), false)
	require.NoError(t, err)
	require.True(t, report.Written)
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.False(t, file.Owner.Consent.Mail, "today's consent")
	assert.True(t, file.History[2].Handover.Consent.Mail, "what was agreed to then")
	assert.Empty(t, b.messages(t))
	next := at("2026-10-06 09")
	_, err = b.Act(next, loop.Tag, &acts.Intake{})
	require.NoError(t, err)
	_, err = b.Act(next, loop.Tag, &acts.Handover{Mail: new(true), Unproved: "no load here"})
	require.NoError(t, err)
	file, err = b.File(loop.Tag)
	require.NoError(t, err)
	assert.True(t, file.Owner.Consent.Mail, "told by a technician it holds")
}

// A row is judged by what the rows before it leave, and recorded by the same: what
// the owner agreed to then, and how the loop was built then. Neither is today's.
func TestTableOfActsIsRecordedAsItIsJudged(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-10-05 09")
	owner, err := b.AddOwner(stamp, loops.Owner{Name: "Ana Ruizado", Email: "ana@garden.example"})
	require.NoError(t, err)
	machine, err := b.AddMachine(stamp, loops.Machine{Owner: owner.ID, Kind: loops.Desktop, Name: "the grey tower"})
	require.NoError(t, err)
	today := loops.Construction{Volume: 0.5, Wetted: []loops.WettedPart{{Part: "plate", Metal: chemistry.Copper}}, ColdestWall: new(chemistry.Celsius(-10))}
	loop, err := b.AddLoop(stamp, loops.Loop{Machine: machine.ID, Construction: today})
	require.NoError(t, err)
	table := "tag,act,day,fluid,mass_percent,poured,hours_h,dry,unproved,opening_consent,old_unit,cause\n" +
		string(loop.Tag) + ",swap,2026-09-01,,,,,,,,kept,\n" +
		string(loop.Tag) + ",drain,2026-09-02,,,,,,,,,\n" +
		string(loop.Tag) + ",fill,2026-10-01,pg,40,480ml,,,,,,\n" +
		string(loop.Tag) + ",leakcheck,2026-10-02,,,,24,yes,,,,\n" +
		string(loop.Tag) + ",handover,2026-10-03,,,,,,no load here,yes,,\n" +
		string(loop.Tag) + ",open,2026-10-04,,,,,,,,,none found\n"
	for _, dryRun := range []bool{true, false} {
		report, err := b.ImportTable(stamp, workshop.ActsTable, strings.NewReader(table), dryRun)
		require.NoError(t, err, "dry run: %t", dryRun)
		assert.Equal(t, !dryRun, report.Written)
	}
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.Len(t, file.History, 6)
	assert.Equal(t, loop.Construction, file.Loop.Construction, "how it is built today")
	assert.False(t, file.Owner.Consent.Opening, "today's consent")
}
