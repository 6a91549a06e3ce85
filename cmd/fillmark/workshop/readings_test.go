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
	"fillmark/loops/inspection/triage"
	"fillmark/schedule"
)

// reading is a steady set of readings at a power, the room at 22 °C. The die is
// given, and the coolant into the plate and out of it, where they are read.
func reading(power, die float64, coolant ...float64) *loops.Inspection {
	x := &loops.Inspection{Die: new(chemistry.Celsius(die)), Room: new(chemistry.Celsius(22)), PowerW: &power, Steady: true, Verdict: loops.NotJudged}
	if len(coolant) > 0 {
		x.CoolantIn = new(chemistry.Celsius(coolant[0]))
	}
	if len(coolant) > 1 {
		x.CoolantOut = new(chemistry.Celsius(coolant[1]))
	}
	return x
}

// inspected records the readings a month apart from the fill and returns what
// they say.
func inspected(t *testing.T, readings ...*loops.Inspection) *schedule.Readings {
	t.Helper()
	b := newBench(t)
	stamp := at("2026-01-10 15")
	loop := b.handedOver(t, "ana@garden.example", stamp)
	for i, x := range readings {
		_, err := b.Do(workshop.Stamp{At: stamp.At.AddDate(0, i+1, 0), By: "test"}, loop.Tag, loops.Entry{Kind: loops.KindInspection, Inspection: x})
		require.NoError(t, err)
	}
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	return file.Readings
}

// whys gathers all that was refused.
func whys(r *schedule.Readings) string {
	var text strings.Builder
	for _, x := range r.Last.Refused {
		text.WriteString(x.Error() + "\n")
	}
	for _, t := range r.Trends {
		text.WriteString(t.Sentence() + "\n")
	}
	return text.String()
}

func TestReadingsOfALoop(t *testing.T) {
	t.Parallel()
	assert.Nil(t, inspected(t))

	// 200 W: die 60, coolant 32 to 35, room 22 °C. By hand: 38/200, 28/200 and
	// 10/200 K/W; 60 · 0.2 kW / (1.03 kg/l · 3.73 kJ/kgK · 3 K) = 1.04 l/min.
	r := inspected(t, reading(200, 60, 32, 35))
	require.NotNil(t, r.Last)
	assert.Equal(t, loops.Day{Year: 2026, Month: time.February, Dom: 10}, r.Last.Day)
	assert.InDelta(t, 0.190, float64(r.Last.Total.Value), 1e-9)
	assert.InDelta(t, 0.140, float64(r.Last.Mount.Value), 1e-9)
	assert.InDelta(t, 0.050, float64(r.Last.Radiator.Value), 1e-9)
	assert.InDelta(t, 1.04, float64(r.Last.Flow.Value), 0.02)
	assert.Equal(t, triage.None, r.Last.Triage.Causes[0].Cause)
	assert.False(t, r.Last.Triage.Band.Own)
	assert.NotEmpty(t, r.Cannot)
	assert.Contains(t, whys(r), "1 readings since the fill that compare; at least 3 are needed")

	// Only the die: what is missing is named, and what to measure next.
	r = inspected(t, reading(40, 36))
	assert.Nil(t, r.Last.Mount)
	for _, why := range []string{"mount resistance: the die or a coolant", "flow: the coolant is not read", "at least 50 W is needed"} {
		assert.Contains(t, whys(r), why)
	}
}

// A loop's own first readings are the measure of later ones.
func TestReadingsAgainstTheLoopsOwn(t *testing.T) {
	t.Parallel()
	sound := reading(200, 50, 32, 35)
	r := inspected(t, sound, sound, sound, reading(200, 70, 32, 41))
	assert.True(t, r.Last.Triage.Band.Own)
	assert.InDelta(t, .14, float64(*r.Last.Seen.Own), 1e-9)
	assert.Contains(t, []triage.Cause{triage.Clog, triage.Pump, triage.Air}, r.Last.Triage.Causes[0].Cause, "mount and rise are up, the radiator is not")
	r = inspected(t, sound, sound, sound, reading(200, 90, 32, 35))
	assert.Contains(t, []triage.Cause{triage.Mount, triage.Paste}, r.Last.Triage.Causes[0].Cause)

	// Rising by 0.01 K/W a month from 0.20: 0.26 six months after the first.
	var rising []*loops.Inspection
	for i := range 5 {
		rising = append(rising, reading(100, 42+float64(i)))
	}
	r = inspected(t, append(rising, reading(160, 60))...)
	require.Len(t, r.Trends, 1)
	assert.Equal(t, 1, r.Trends[0].LeftOut, "160 W does not compare with 100 W")
	assert.Contains(t, r.Trends[0].Sentence(), "reaches its limit 0.273 K/W, 1.3 times the baseline 0.210 K/W")
	assert.Contains(t, r.Trends[0].Sentence(), "1 reading taken at too different a power left out")
	assert.Contains(t, whys(inspected(t, reading(100, 42), reading(100, 41), reading(100, 43), reading(100, 42.5))), "interval of the slope holds zero")
}

func TestReadingsProveARepair(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-01-10 15"))
	prove := func(before, after *loops.Inspection) error {
		judged := *after
		judged.Verdict = loops.Good
		_, err := b.Do(at("2026-01-11 15"), loop.Tag, already(loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{Before: *before, After: judged}}))
		return err
	}
	hasty := reading(100, 52)
	hasty.Steady = false
	var stop *acts.StopError
	require.ErrorAs(t, prove(reading(100, 53), reading(100, 52)), &stop)
	assert.Contains(t, stop.Error(), "The repair is not proved.")
	require.ErrorAs(t, prove(reading(200, 92), reading(100, 52)), &stop)
	assert.Contains(t, stop.Error(), "Nothing is proved: 200 W before and 100 W after; only powers within 25 % release a machine")
	assert.Contains(t, stop.Error(), "200 W and 22.0 °C before, 100 W and 22.0 °C after: that adds 0.042 K/W to the uncertainty")
	require.ErrorAs(t, prove(reading(100, 92), hasty), &stop)
	assert.Contains(t, stop.Error(), "not steady after the repair")
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.True(t, file.Loop.State.LastKnownGood.IsZero(), "what proves nothing makes no loop good, said to be done or not")
	require.NoError(t, prove(reading(100, 92), reading(100, 52)))
	file, err = b.File(loop.Tag)
	require.NoError(t, err)
	assert.Contains(t, file.Readings.Proof.Sentence(), "The repair is proved. From die to room 0.700")
	assert.Equal(t, "2026-01-11", file.Loop.State.LastKnownGood.String())
}
