// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// How it runs is told from the newest of what was read: by its owner, by a log,
// each week in its own room, and by a technician.
func TestRunsNow(t *testing.T) {
	t.Parallel()
	proved := loops.Day{Year: 2026, Month: time.May, Dom: 4}
	read := func(die float64) loops.Inspection {
		return loops.Inspection{Die: new(chemistry.Celsius(die)), Room: new(chemistry.Celsius(20)), PowerW: new(100.0), Steady: true, Verdict: loops.Good}
	}
	before := loops.Entry{Kind: loops.KindInspection, Day: proved, Inspection: new(read(90))}
	proof := loops.Entry{Kind: loops.KindProof, Day: proved, Proof: &loops.Proof{Before: read(90), After: read(60)}}
	log := loops.Entry{Kind: loops.KindLog, Day: proved.AddDays(20), TemperatureLog: &loops.TemperatureLog{Room: 20, Weeks: []loops.LogWeek{
		{Day: proved.AddDays(7), Warmest: 60, Hours: 168}, {Day: proved.AddDays(14), Warmest: 80, Room: new(chemistry.Celsius(40)), Hours: 168},
	}}}
	said := loops.Entry{Kind: loops.KindAnswer, Day: proved.AddDays(30), Answer: &loops.Answer{
		Answer: loops.AllFine, Die: new(chemistry.Celsius(80)), Room: new(chemistry.Celsius(20)), Ran: loops.RanHeavy}}
	looked := loops.Entry{Kind: loops.KindInspection, Day: proved.AddDays(40), Inspection: new(read(61))}
	unsteady := loops.Entry{Kind: loops.KindInspection, Day: proved.AddDays(50), Inspection: new(read(85))}
	unsteady.Inspection.Steady = false
	swap := loops.Entry{Kind: loops.KindSwap, Day: proved.AddDays(60), Swap: &loops.Swap{OldUnit: loops.OldUnitKept}}
	says := func(history ...loops.Entry) string {
		for i := range history {
			history[i].ID = loops.EntryID(i + 1)
		}
		return workshop.OwnersFile{Loop: loops.Loop{State: loops.State{HandedOver: proved}}, View: loops.ViewFor(1, 1, history)}.RunsNow()
	}
	assert.Empty(t, says(before, proof), "nobody has read anything since")
	assert.Equal(t, "On Mon 18 May 2026 it ran as on the day you got it back.", says(proof, log), "a warm week in a warm room")
	assert.Contains(t, says(proof, log, said), "On Wed 3 Jun 2026 it ran 20 ± 14 K warmer than on that day")
	for _, history := range [][]loops.Entry{{proof, log, said, looked}, {proof, log, said, looked, unsteady}} {
		assert.Equal(t, "On Sat 13 Jun 2026 it ran as on the day you got it back.", says(history...))
	}
	assert.Empty(t, says(proof, log, said, looked, swap), "another cooler was fitted")
	assert.Empty(t, workshop.OwnersFile{View: loops.ViewFor(1, 1, []loops.Entry{proof, log})}.RunsNow(), "not given back")
}
