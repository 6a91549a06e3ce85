// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

// The trade's table of faults: what is seen with each.
func TestDiagnose(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		seen inspection.Seen
		want string
	}{
		{"sound", inspection.Seen{inspection.SignLog: inspection.LogPresent, inspection.SignTubes: inspection.BothWarm,
			inspection.SignFan: inspection.Running, inspection.SignFins: inspection.Clean, inspection.SignMount: inspection.Same}, "no fault"},
		{"mount up, radiator and rise the same", inspection.Seen{inspection.SignMount: inspection.Up, inspection.SignRadiator: inspection.Same,
			inspection.SignRise: inspection.Same}, "poor mount"},
		{"mount up, rise up", inspection.Seen{inspection.SignMount: inspection.Up, inspection.SignRadiator: inspection.Same,
			inspection.SignRise: inspection.Up}, "reduced flow"},
		{"radiator up", inspection.Seen{inspection.SignMount: inspection.Same, inspection.SignRadiator: inspection.Up,
			inspection.SignRise: inspection.Same, inspection.SignFins: inspection.Dusty, inspection.SignFan: inspection.Running}, "dust"},
		{"coolant near the air, mount far up", inspection.Seen{inspection.SignMount: inspection.FarUp, inspection.SignRadiator: inspection.Down,
			inspection.SignRise: inspection.TooSmall}, "no flow"},
		{"one tube hot, one cold, no recovery", inspection.Seen{inspection.SignLog: inspection.LogNoFlow, inspection.SignTubes: inspection.OneHot,
			inspection.SignCore: inspection.CoreCold, inspection.SignPump: inspection.Running}, "no flow"},
		{"radiator hot all over, fan stopped", inspection.Seen{inspection.SignFan: inspection.Stopped, inspection.SignCore: inspection.CoreHot,
			inspection.SignRadiator: inspection.Up}, "fan stopped"},
		{"two at once", inspection.Seen{inspection.SignLog: inspection.LogMount, inspection.SignMount: inspection.Up,
			inspection.SignRadiator: inspection.Up, inspection.SignFins: inspection.Dusty, inspection.SignFan: inspection.Running}, "poor mount and dust"},
		{"dead pump and standing fan", inspection.Seen{inspection.SignLog: inspection.LogNoFlow, inspection.SignTubes: inspection.OneHot,
			inspection.SignFan: inspection.Stopped}, "no flow and fan stopped"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, err := inspection.Diagnose(tt.seen)
			require.NoError(t, err)
			assert.Equal(t, tt.want, d.Fits[0].Name(), "%+v", d.Fits)
			assert.InDelta(t, 1, d.Fits[0].Score, 0.2)
			assert.Contains(t, d.Cannot, inspection.PumpNote)
			assert.Contains(t, d.Cannot, inspection.MountNote)
		})
	}
}

// With the mount resistance alone, paste and a clogged plate fit alike, and
// what to measure next tells them apart.
func TestMountAndClogLookAlike(t *testing.T) {
	t.Parallel()
	d, err := inspection.Diagnose(inspection.Seen{inspection.SignMount: inspection.Up})
	require.NoError(t, err)
	scores := map[string]float64{}
	for _, f := range d.Fits {
		scores[f.Name()] = f.Score
	}
	assert.InDelta(t, scores["poor mount"], scores["reduced flow"], 1e-12)
	assert.False(t, d.Clear)
	require.NotEmpty(t, d.Next)
	assert.Contains(t, strings.Join(d.Next, "; "), "log the die temperature")
	assert.Contains(t, strings.Join(d.Next, "; "), "before and behind the plate")
}

func TestDiagnoseRefuses(t *testing.T) {
	t.Parallel()
	_, err := inspection.Diagnose(nil)
	var refusal inspection.Refusal
	require.ErrorAs(t, err, &refusal)
	var invalid *chemistry.InvalidError
	_, err = inspection.Diagnose(inspection.Seen{"smell": inspection.Same})
	require.ErrorAs(t, err, &invalid)
	_, err = inspection.Diagnose(inspection.Seen{inspection.SignFan: inspection.OneHot})
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "fan", invalid.Field)
}

// A reading against the loop's own baseline gives the signs of the table.
func TestSignsOf(t *testing.T) {
	t.Parallel()
	usual := inspection.Usual{Mount: 0.1, Radiator: 0.04, Rise: 3, Own: true}
	tests := []struct {
		name               string
		die, in, out, room chemistry.Celsius
		want               inspection.Seen
	}{
		{"as ever", 52, 30, 33, 22, inspection.Seen{inspection.SignMount: inspection.Same, inspection.SignRadiator: inspection.Same, inspection.SignRise: inspection.Same}},
		{"clogged plate", 62, 30, 36, 22, inspection.Seen{inspection.SignMount: inspection.Up, inspection.SignRadiator: inspection.Same, inspection.SignRise: inspection.Up}},
		{"dust", 72, 50, 53, 22, inspection.Seen{inspection.SignMount: inspection.Same, inspection.SignRadiator: inspection.Up, inspection.SignRise: inspection.Same}},
		{"no flow", 95, 24, 24.2, 22, inspection.Seen{inspection.SignMount: inspection.FarUp, inspection.SignRadiator: inspection.Down, inspection.SignRise: inspection.TooSmall}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := reading()
			r.Die, r.CoolantIn, r.CoolantOut, r.Room = &tt.die, &tt.in, &tt.out, &tt.room
			f, err := inspection.Read(r)
			require.NoError(t, err)
			assert.Equal(t, tt.want, inspection.SignsOf(r, f, usual))
		})
	}
	// Without a baseline a hot die over cold coolant is a poor mount or no flow:
	// that the radiator reads low must not speak against the second.
	r := reading()
	r.Die, r.CoolantIn, r.CoolantOut, r.Room = new(chemistry.Celsius(90)), new(chemistry.Celsius(24)), new(chemistry.Celsius(24.5)), new(chemistry.Celsius(22))
	r.Power = new(inspection.Watt(60))
	f, err := inspection.Read(r)
	require.NoError(t, err)
	unsure := inspection.SignsOf(r, f, inspection.UsualFigures())
	assert.NotContains(t, unsure, inspection.SignRadiator)
	d, err := inspection.Diagnose(unsure)
	require.NoError(t, err)
	assert.Equal(t, []string{"poor mount", "no flow"}, []string{d.Fits[0].Name(), d.Fits[1].Name()})
	assert.InDelta(t, d.Fits[0].Score, d.Fits[1].Score, 1e-9)

	seen := inspection.Seen{}
	seen.AddLog(inspection.Transient{Class: inspection.FlowUncertain})
	assert.Empty(t, seen)
	seen.AddLog(inspection.Transient{Class: inspection.MountSuspect})
	assert.Equal(t, inspection.LogMount, seen[inspection.SignLog])
	assert.False(t, inspection.UsualFigures().Own)
}

// Whatever is seen: scores are shares, the best is first, and a second fault
// is only named where it explains more.
func TestDiagnoseProperties(t *testing.T) {
	t.Parallel()
	all := map[inspection.Sign][]inspection.Finding{
		inspection.SignLog: {inspection.LogMount, inspection.LogNoFlow, inspection.LogPresent}, inspection.SignTubes: {inspection.BothCool, inspection.OneHot, inspection.BothWarm},
		inspection.SignFan: {inspection.Running, inspection.Stopped}, inspection.SignFins: {inspection.Clean, inspection.Dusty},
		inspection.SignMount: {inspection.Same, inspection.Up, inspection.FarUp}, inspection.SignRadiator: {inspection.Down, inspection.Same, inspection.Up},
	}
	rapid.Check(t, func(t *rapid.T) {
		seen := inspection.Seen{}
		for _, sign := range inspection.Signs() {
			if findings, ok := all[sign]; ok && rapid.Bool().Draw(t, string(sign)) {
				seen[sign] = rapid.SampledFrom(findings).Draw(t, "finding")
			}
		}
		if len(seen) == 0 {
			return
		}
		d, err := inspection.Diagnose(seen)
		require.NoError(t, err)
		single := map[inspection.Fault]float64{}
		for i, f := range d.Fits {
			assert.True(t, f.Score >= 0 && f.Score <= 1)
			assert.Len(t, append(f.For, f.Against...), len(seen))
			if i > 0 {
				assert.LessOrEqual(t, f.Score, d.Fits[i-1].Score)
			}
			if len(f.Faults) == 1 {
				single[f.Faults[0]] = f.Score
			}
		}
		for _, f := range d.Fits {
			for _, part := range f.Faults {
				if len(f.Faults) == 2 {
					assert.Greater(t, f.Score, single[part])
				}
			}
		}
	})
}
