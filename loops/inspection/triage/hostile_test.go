// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
	"fillmark/loops/inspection/triage"
)

// Ten tries of an experienced technician to fool it. Each is right where one of
// the causes comes first, or where it says that it cannot tell yet and asks for
// one of the steps that would settle it.
func TestTenTriesToFoolIt(t *testing.T) {
	t.Parallel()
	own := func(k inspection.KelvinPerWatt, s triage.Seen) triage.Seen {
		s.Own = &k
		return s
	}
	type causes = []triage.Cause
	type signs = []triage.Sign
	for _, tt := range []struct {
		name   string
		seen   triage.Seen
		causes causes
		next   signs
	}{
		{"a pump that turns at its speed and moves nothing, in a loop with a history",
			own(.25, machine(false, 92, 22, 60, "pump=running pump-speed=steady tubes=one-hot radiator=cold fan=running fins=clean level=full")), causes{triage.Pump, triage.Clog}, nil},
		{"dust to be seen, and it runs as when it was proved", own(.255, machine(true, 50, 22, 110, "fins=dusty pump=running tubes=both-warm radiator=warm fan=running clock=full")), causes{triage.None}, nil},
		{"dust to be seen, and the mount is loose", machine(true, 93, 22, 100, "fins=dusty screws=loose tubes=both-cool radiator=cold pump=running fan=running"), causes{triage.Mount}, nil},
		{"fans that fight on a cool day, die within its band", machine(true, 62, 18, 120, "fan=running fan-direction=against radiator=uneven fins=clean pump=running"), causes{triage.Fan}, nil},
		{"a sensor that says 105 while all else is cool", machine(true, 105, 22, 90, "clock=full tubes=both-cool radiator=cold pump=running fan=running fins=clean screws=tight paste=good"),
			causes{triage.Sensor}, signs{triage.SignSecond, triage.SignStep}},
		{"a clock held down at 70 °C", machine(true, 70, 22, 150, "clock=throttled pump=running fan=running fins=clean tubes=both-warm radiator=warm"), causes{triage.Throttle}, nil},
		{"1.29 K/W and not a word more", machine(true, 99, 22, 60, ""), nil, signs{triage.SignTubes, triage.SignPump, triage.SignScrews, triage.SignRadiator, triage.SignPaste}},
		{"far above its own, within the band of its build", own(.20, machine(false, 58, 22, 120, "pump=running fan=running fins=clean screws=tight tubes=both-warm")),
			causes{triage.Clog, triage.Paste, triage.Dust, triage.Fan, triage.Air, triage.Pump, triage.Mount}, signs{triage.SignPaste, triage.SignStep, triage.SignPinch, triage.SignRadiator, triage.SignSpeed, triage.SignRetighten, triage.SignSecond, triage.SignDirection}},
		{"warm air at the intake of a machine in a cool room", machine(true, 82, 21, 130, "intake=warm fan=running fan-direction=out fins=clean pump=running screws=tight radiator=hot tubes=both-warm"), causes{triage.Room, triage.Dust, triage.Fan}, nil},
		{"a part of 240 W on a radiator for 120 W, everything sound", machine(true, 96, 22, 240, "pump=running fan=running fins=clean screws=tight paste=good radiator=hot tubes=both-warm fan-direction=out intake=free"),
			causes{triage.Heat, triage.Throttle}, nil},
	} {
		a, err := triage.Judge(tt.seen)
		require.NoError(t, err, tt.name)
		first := a.Causes[0]
		t.Logf("%s: told %v, %s %.0f %%, %s %.0f %%; next asks %v", tt.name, a.Told, first.Cause, 100*first.Probability, a.Causes[1].Cause, 100*a.Causes[1].Probability, a.Next.Asks)
		if a.Told {
			assert.Contains(t, tt.causes, first.Cause, "%s: %s", tt.name, table(a))
		} else {
			assert.True(t, slices.ContainsFunc(a.Next.Asks, func(s triage.Sign) bool { return slices.Contains(tt.next, s) }) || slices.Contains(tt.causes, first.Cause) && a.Next.Do != "", "%s: %s; next %+v", tt.name, table(a), a.Next)
		}
		sum := 0.0
		for _, c := range a.Causes {
			sum += c.Probability
		}
		assert.InDelta(t, 1, sum, 1e-9, tt.name)
	}
}

// What contradicts itself is never told as a cause, and what cannot be is
// refused or blamed on the thermometer.
func TestWhatCannotBeBothIsNotTold(t *testing.T) {
	t.Parallel()
	coolant := func(in, out chemistry.Celsius, s triage.Seen) triage.Seen {
		s.CoolantIn, s.CoolantOut = &in, &out
		return s
	}
	for _, tt := range []struct {
		name    string
		seen    triage.Seen
		told    triage.Cause // none where it cannot tell yet
		refused string       // the field
	}{
		{"a pump that stands, and warm coolant all round", machine(true, 92, 22, 100, "pump=stopped tubes=both-warm radiator=hot fan=running"), "", ""},
		{"warm tubes on a cold radiator", machine(true, 92, 22, 100, "tubes=both-warm radiator=cold"), "", ""},
		{"all broken, and it runs as it should", machine(true, 55, 22, 100, "pump=stopped fan=stopped screws=loose paste=dry fins=dusty"), "", ""},
		{"a hot radiator below a cool die that throttles", machine(true, 40, 22, 100, "fan=stopped radiator=hot tubes=both-warm clock=throttled"), "", ""},
		{"a room hotter than the loop", machine(true, 22, 30, 100, "pump=running fan=running"), triage.Sensor, ""},
		{"a sensor that does not move", machine(true, 88, 22, 100, "power-step=frozen tubes=both-cool radiator=cold"), triage.Sensor, ""},
		{"coolant hotter than the die", coolant(70, 72, machine(false, 60, 22, 200, "pump=running")), triage.Sensor, ""},
		{"coolant in and out swapped", coolant(50, 30, machine(false, 60, 22, 200, "pump=running")), "", "coolant out"},
		{"°F without saying so", machine(true, 110, 72, 100, "pump=running fan=running fins=clean"), "", "room"},
		{"power below nothing", machine(true, 92, 22, -100, ""), "", "power"},
	} {
		a, err := triage.Judge(tt.seen)
		if tt.refused != "" {
			var invalid *chemistry.InvalidError
			require.ErrorAs(t, err, &invalid, tt.name)
			assert.Equal(t, tt.refused, invalid.Field, tt.name)
			continue
		}
		require.NoError(t, err, tt.name)
		assert.NotEmpty(t, a.Next.Do, tt.name)
		if tt.told == "" {
			assert.False(t, a.Told, "%s: %s", tt.name, table(a))
			continue
		}
		assert.Equal(t, tt.told, a.Causes[0].Cause, "%s: %s", tt.name, table(a))
		assert.True(t, a.Told, "%s: %s", tt.name, table(a))
	}
}
