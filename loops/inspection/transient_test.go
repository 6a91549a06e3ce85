// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

// node is one mass of a computed machine: its heat capacity in J/K and the
// resistance in K/W to the next one.
type node struct{ capacity, toNext float64 }

// simulated steps a chain of masses, die first and the room behind the last,
// for 40 s at a power, and returns the log of the die in whole degrees.
func simulated(power float64, chain ...node) inspection.Log {
	const dt = 0.001
	rise := make([]float64, len(chain))
	var l inspection.Log
	for step := range 40001 {
		if step%1000 == 0 {
			l.Seconds = append(l.Seconds, float64(step)*dt)
			l.Celsius = append(l.Celsius, math.Round(35+rise[0]))
		}
		in := power
		for i, n := range chain {
			next := 0.0
			if i+1 < len(chain) {
				next = rise[i+1]
			}
			out := (rise[i] - next) / n.toNext
			rise[i] += (in - out) / n.capacity * dt
			in = out
		}
	}
	return l
}

// Masses and resistances as they are usual (from memory, from volumes and
// tabulated specific heats): lid 10 J/K, cold plate 34, coolant in it 40, the
// rest of the loop 1300.
func TestAnalyseComputedMachines(t *testing.T) {
	t.Parallel()
	const never = 1e6 // K/W
	tests := []struct {
		name  string
		chain []node
		want  inspection.Class
	}{
		{"sound", []node{{10, 0.05}, {34, 0.05}, {1340, 0.05}}, inspection.FlowPresent},
		{"no heat leaves the radiator, but it flows", []node{{10, 0.05}, {34, 0.05}, {1340, never}}, inspection.FlowPresent},
		{"standing coolant", []node{{10, 0.05}, {34, 0.05}, {40, never}}, inspection.NoFlowSeen},
		{"dry plate", []node{{10, 0.05}, {34, never}}, inspection.NoFlowSeen},
		{"loose plate", []node{{10, 1.0}, {34, 0.05}, {1340, 0.05}}, inspection.MountSuspect},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, power := range []float64{35, 65, 110} {
				l := simulated(power, tt.chain...)
				got, err := inspection.Analyse(l, inspection.Watt(power))
				require.NoError(t, err)
				assert.Equal(t, tt.want, got.Class, "%v W: %+v", power, got)
				assert.NotEmpty(t, got.Text)
				assert.NotEmpty(t, got.Rate)
				require.NotEmpty(t, got.Refused)
				assert.Equal(t, "flow", got.Refused[len(got.Refused)-1].What, "a class is never a flow")
			}
		})
	}
}

// The apparent heat capacity of a mass that takes up all the heat is that mass.
func TestCapacityIsTheMass(t *testing.T) {
	t.Parallel()
	got, err := inspection.Analyse(simulated(65, node{80, 1e9}), 65)
	require.NoError(t, err)
	require.NotNil(t, got.Capacity)
	assert.InDelta(t, 80, float64(got.Capacity.Value), 2)
	assert.Greater(t, float64(got.Capacity.Uncertainty), 8.0, "the power alone is good to 10 %")
}

func TestAnalyseRefuses(t *testing.T) {
	t.Parallel()
	short := simulated(65, node{80, 1e9})
	short.Seconds, short.Celsius = short.Seconds[:12], short.Celsius[:12]
	gap := simulated(65, node{80, 1e9})
	gap.Seconds, gap.Celsius = append(gap.Seconds[:6:6], gap.Seconds[14:]...), append(gap.Celsius[:6:6], gap.Celsius[14:]...)
	for name, tt := range map[string]struct {
		log  inspection.Log
		text string
	}{"short": {short, "the log covers 11 s"}, "gap": {gap, "no reading for 9 s after 5 s"}} {
		_, err := inspection.Analyse(tt.log, 65)
		var refusal inspection.Refusal
		require.ErrorAs(t, err, &refusal, name)
		assert.Contains(t, refusal.Why, tt.text)
	}
	_, err := inspection.Analyse(short, 0)
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "power", invalid.Field)
}
