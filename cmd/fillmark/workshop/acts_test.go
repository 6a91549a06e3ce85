// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"
	"time"

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
