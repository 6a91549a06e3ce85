// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

func reading() inspection.Reading {
	return inspection.Reading{
		Die: new(chemistry.Celsius(52)), CoolantIn: new(chemistry.Celsius(30)), CoolantOut: new(chemistry.Celsius(33)), Room: new(chemistry.Celsius(22)),
		Power: new(inspection.Watt(200)), Pump: 10, Steady: true, Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.25)),
		TemperatureUncertainty: 0.5, PowerUncertainty: 20,
	}
}

func TestReadFigures(t *testing.T) {
	t.Parallel()
	f, err := inspection.Read(reading())
	require.NoError(t, err)
	assert.InDelta(t, 30.0/200, float64(f.Total.Value), 1e-12)
	assert.InDelta(t, 22.0/200, float64(f.Mount.Value), 1e-12)
	assert.InDelta(t, 8.0/210, float64(f.Radiator.Value), 1e-12, "the pump heats the loop too")
	// 3 K at 200 W: the reference computes 1 l/min for 2.99 K with 1022.5 kg/m³ and 3920 J/(kg K).
	assert.InDelta(t, 1.0, float64(f.Flow.Value), 0.02)
	assert.Empty(t, f.Refused)
}

// A worked figure: 1 K on each temperature, a difference of 15 K and a power
// good to 10 % leave 13.7 %.
func TestUncertaintyOfAResistance(t *testing.T) {
	t.Parallel()
	r := inspection.Reading{Die: new(chemistry.Celsius(45)), Room: new(chemistry.Celsius(30)), Power: new(inspection.Watt(100))}
	f, err := inspection.Read(r)
	require.NoError(t, err)
	assert.InDelta(t, 0.137, float64(f.Total.Uncertainty/f.Total.Value), 0.0005)
}

// Worked figures: 200 W at 2.0 K, 3.85 kJ/(kg K) and 1.03 kg/l are 1.51 l/min;
// 65 W at 1.5 l/min are 0.66 K, which probes good to 0.5 K cannot tell.
// riseAtFlow is FlowAtRise the other way about: 60 P / (ρ cp V) is as much of one
// as of the other.
func riseAtFlow(p inspection.Watt, flow inspection.LitrePerMinute, rho chemistry.KilogramPerLitre, cp chemistry.JoulePerKilogramKelvin) chemistry.CelsiusDelta {
	return chemistry.CelsiusDelta(inspection.FlowAtRise(p, chemistry.CelsiusDelta(flow), rho, cp))
}

func TestFlowThatCanAndCannotBeTold(t *testing.T) {
	t.Parallel()
	assert.InDelta(t, 1.51, float64(inspection.FlowAtRise(200, 2.0, 1.03, 3850)), 0.005)
	rise := riseAtFlow(65, 1.5, 1.03, 3850)
	assert.InDelta(t, 0.656, float64(rise), 0.001)
	r := reading()
	r.Power, r.CoolantOut = new(inspection.Watt(65)), new(r.CoolantIn.Add(rise))
	f, err := inspection.Read(r)
	require.NoError(t, err)
	assert.Nil(t, f.Flow)
	require.Len(t, f.Refused, 1)
	assert.Equal(t, "flow", f.Refused[0].What)
	assert.Contains(t, f.Refused[0].Why, "rises 0.7 K across the plate; with these probes at least 1.1 K is needed")
	r.Power, r.CoolantOut = new(inspection.Watt(200)), new(r.CoolantIn.Add(2))
	f, err = inspection.Read(r)
	require.NoError(t, err)
	assert.NotNil(t, f.Flow)
}

func TestReadRefusesWhatItCannotTell(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		change  func(*inspection.Reading)
		refused []string
	}{
		{"power unknown", func(r *inspection.Reading) { r.Power = nil }, []string{"total resistance", "mount resistance", "radiator resistance", "flow"}},
		{"no coolant temperature", func(r *inspection.Reading) { r.CoolantIn, r.CoolantOut = nil, nil }, []string{"mount resistance", "radiator resistance", "flow"}},
		{"no room temperature", func(r *inspection.Reading) { r.Room = nil }, []string{"total resistance", "radiator resistance"}},
		{"no die temperature", func(r *inspection.Reading) { r.Die = nil }, []string{"total resistance", "mount resistance"}},
		{"strength unknown", func(r *inspection.Reading) { r.Mass = nil }, []string{"flow"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := reading()
			tt.change(&r)
			f, err := inspection.Read(r)
			require.NoError(t, err)
			var got []string
			for _, refusal := range f.Refused {
				got = append(got, refusal.What)
				assert.NotEmpty(t, refusal.Why)
			}
			assert.Equal(t, tt.refused, got)
		})
	}
	r := reading()
	r.Die = new(chemistry.Celsius(400))
	_, err := inspection.Read(r)
	assert.ErrorContains(t, err, "die")
	r = reading()
	r.Power = new(inspection.Watt(-1))
	_, err = inspection.Read(r)
	assert.ErrorContains(t, err, "power")
}

func TestForTrend(t *testing.T) {
	t.Parallel()
	require.NoError(t, reading().ForTrend(0))
	require.NoError(t, reading().ForTrend(170))
	for text, change := range map[string]func(*inspection.Reading){
		"not steady":         func(r *inspection.Reading) { r.Steady = false },
		"at least 50 W":      func(r *inspection.Reading) { r.Power = new(inspection.Watt(49)) },
		"only 9.0 K above":   func(r *inspection.Reading) { r.Die = new(chemistry.Celsius(31)) },
		"power are needed":   func(r *inspection.Reading) { r.Room = nil },
		"within 25 % of 150": func(*inspection.Reading) {},
	} {
		r := reading()
		change(&r)
		assert.ErrorContains(t, r.ForTrend(150), text)
	}
}

func TestTradeValues(t *testing.T) {
	t.Parallel()
	got := map[string]float64{}
	for id, air := range map[string][2]float64{"C42": {25, 0.5}, "C43": {30, 0.6}} {
		dew, err := inspection.DewPoint(chemistry.Celsius(air[0]), air[1])
		require.NoError(t, err)
		got[id] = float64(dew)
	}
	rise := func(p inspection.Watt, flow inspection.LitrePerMinute) float64 {
		return float64(riseAtFlow(p, flow, 1.0225, 3920))
	}
	water, err := chemistry.SpecificHeat(chemistry.TreatedWater, 0, 15)
	require.NoError(t, err)
	// 0.063 kg/s of water is 3.78 l/min at 1 kg/l.
	got["C44"] = 1 / float64(riseAtFlow(1, 3.78, 1, water))
	got["C45"], got["C46a"], got["C46b"], got["C47"] = rise(1000, 1.5), rise(1000, 1.25), rise(1000, 2), rise(200, 1)
	tolerance := map[string]float64{"C44": 0.3} // the specific heat of water is printed to 0.1 %
	for _, row := range table(t, "trade_values.csv") {
		within := 0.0051
		if w, ok := tolerance[row["id"]]; ok {
			within = w
		}
		assert.InDelta(t, number(t, row["value"]), got[row["id"]], within, row["fact"])
	}
	_, err = inspection.DewPoint(25, 0)
	assert.ErrorContains(t, err, "humidity")
	_, err = inspection.DewPoint(90, 0.5)
	assert.ErrorContains(t, err, "room")
}

func TestProve(t *testing.T) {
	t.Parallel()
	before, after := reading(), reading()
	before.Die, before.Room, before.Steady = new(chemistry.Celsius(82)), new(chemistry.Celsius(26)), false
	p, err := inspection.Prove(before, after)
	require.NoError(t, err)
	assert.True(t, p.Proved)
	assert.InDelta(t, 0.28-0.15, float64(p.Gain.Value), 1e-12)
	assert.InDelta(t, 22+0.28*200, float64(p.DieBefore), 1e-9)
	assert.Contains(t, p.Text, "the true gain is larger")

	before = reading()
	before.Die = new(chemistry.Celsius(53))
	p, err = inspection.Prove(before, after)
	require.NoError(t, err)
	assert.False(t, p.Proved)
	assert.Contains(t, p.Text, "measure again")

	for text, change := range map[string]func(b, a *inspection.Reading){
		"before the repair are needed":                     func(b, _ *inspection.Reading) { b.Room = nil },
		"after the repair are needed":                      func(_, a *inspection.Reading) { a.Power = nil },
		"not steady after":                                 func(_, a *inspection.Reading) { a.Steady = false },
		"200 W before and 49 W after":                      func(_, a *inspection.Reading) { a.Power = new(inspection.Watt(49)) },
		"before the repair the die was not above the room": func(b, _ *inspection.Reading) { b.Die = new(chemistry.Celsius(15)) },
	} {
		b, a := reading(), reading()
		change(&b, &a)
		_, err := inspection.Prove(b, a)
		var refusal inspection.Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Contains(t, refusal.Why, text)
	}
}

// At half the power and in another room a repair is compared all the same, with
// more uncertainty, which a small gain does not outgrow and a large one does.
func TestProveUnderUnlikeConditions(t *testing.T) {
	t.Parallel()
	alike, err := inspection.Prove(hot(82), reading())
	require.NoError(t, err)
	assert.Empty(t, alike.Unlike)
	assert.Empty(t, alike.Apart)
	after := reading()
	after.Power, after.Room, after.Die = new(inspection.Watt(100)), new(chemistry.Celsius(30)), new(chemistry.Celsius(45))
	after.PowerUncertainty = 10
	p, err := inspection.Prove(hot(82), after)
	require.NoError(t, err)
	assert.True(t, p.Proved)
	assert.InDelta(t, 0.30-0.15, float64(p.Gain.Value), 1e-12)
	assert.Greater(t, p.Gain.Uncertainty, alike.Gain.Uncertainty)
	assert.Contains(t, p.Unlike, "200 W and 22.0 °C before, 100 W and 30.0 °C after")
	assert.Equal(t, "200 W before and 100 W after; only powers within 25 % release a machine: read it again at 150 W to 266.6 W", p.Apart)
	for _, power := range []inspection.Watt{150, 266.6} {
		after.Power = &power
		p, err = inspection.Prove(hot(82), after)
		require.NoError(t, err)
		assert.Empty(t, p.Apart, "%s", power)
	}
	after.Power = new(inspection.Watt(100))
	p, err = inspection.Prove(hot(56), after)
	require.NoError(t, err)
	assert.False(t, p.Proved)
}

// hot is the reading with another die.
func hot(die chemistry.Celsius) inspection.Reading {
	r := reading()
	r.Die = &die
	return r
}

// Whatever is read: no resistance at or below zero is a figure.
func TestNoNegativeResistance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := reading()
		r.Fluid = "" // the flow has bounds of its own
		for _, to := range []**chemistry.Celsius{&r.Die, &r.CoolantIn, &r.CoolantOut, &r.Room} {
			*to = new(chemistry.Celsius(rapid.Float64Range(-20, 100).Draw(t, "t")))
		}
		f, err := inspection.Read(r)
		require.NoError(t, err)
		for _, m := range []*inspection.Measured[inspection.KelvinPerWatt]{f.Total, f.Mount, f.Radiator} {
			assert.True(t, m == nil || m.Value > 0)
		}
		if *r.Die <= *r.Room {
			assert.Nil(t, f.Total)
		}
	})
}

func TestProveChiller(t *testing.T) {
	t.Parallel()
	chiller := func(out, back float64, load inspection.Watt) inspection.Reading {
		return inspection.Reading{Set: new(chemistry.Celsius(-10)), CoolantIn: new(chemistry.Celsius(out)), CoolantOut: new(chemistry.Celsius(back)), Power: &load, Steady: true,
			Room: new(chemistry.Celsius(24)), TemperatureUncertainty: .5}
	}
	// It left 4 K too warm; now it holds, at as much heat.
	p, err := inspection.ProveChiller(chiller(-6, -1, 500), chiller(-9.8, -4.8, 520))
	require.NoError(t, err)
	assert.True(t, p.Holds && p.Proved)
	assert.InDelta(t, 4, float64(p.MissBefore.Value), 1e-9)
	assert.InDelta(t, .2, float64(p.MissAfter.Value), 1e-9)
	assert.InDelta(t, .01, float64(p.SpreadBefore.Value), 1e-9)
	// It held before as well, but at a third of the flow.
	p, err = inspection.ProveChiller(chiller(-10, 5, 500), chiller(-10, -5, 500))
	require.NoError(t, err)
	assert.True(t, p.Proved)
	assert.Contains(t, p.Text, "67 % less")
	// Nothing changed; and one that does not hold.
	p, err = inspection.ProveChiller(chiller(-10, -5, 500), chiller(-10, -5, 500))
	require.NoError(t, err)
	assert.True(t, p.Holds)
	assert.False(t, p.Proved)
	p, err = inspection.ProveChiller(chiller(-2, 3, 500), chiller(-7, -2, 500))
	require.NoError(t, err)
	assert.False(t, p.Proved)
	assert.Contains(t, p.Text, "does not hold")
	// Too cold is not held either: what cools nine kelvin too far freezes its evaporator.
	p, err = inspection.ProveChiller(chiller(-2, 3, 500), chiller(-19, -14, 500))
	require.NoError(t, err)
	assert.False(t, p.Holds || p.Proved)
	assert.Contains(t, p.Text, "below its set point, where its evaporator can freeze")
	p, err = inspection.ProveChiller(chiller(-19, -14, 500), chiller(-10, -5, 500))
	require.NoError(t, err)
	assert.True(t, p.Holds && p.Proved, "it overcooled, and does no more")

	var refusal inspection.Refusal
	_, err = inspection.ProveChiller(chiller(-6, -1, 500), chiller(-10, -9, 100))
	require.ErrorAs(t, err, &refusal)
	assert.Contains(t, refusal.Why, "500 W before and only 100 W after")
	cooler := chiller(-10, -5, 500)
	cooler.Room = new(chemistry.Celsius(12))
	_, err = inspection.ProveChiller(chiller(-6, -1, 500), cooler)
	require.ErrorAs(t, err, &refusal)
	var invalid *chemistry.InvalidError
	_, err = inspection.ProveChiller(chiller(-6, 3000, 500), cooler)
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "coolant out", invalid.Field)
}

func TestOwnersWords(t *testing.T) {
	t.Parallel()
	back := reading()
	words, err := inspection.OwnersWords(back, hot(53))
	require.NoError(t, err)
	assert.Equal(t, "runs as on the day you got it back", words)
	words, err = inspection.OwnersWords(back, hot(72))
	require.NoError(t, err)
	assert.Regexp(t, `^warmer than then by 20 ± \d K$`, words)
	words, err = inspection.OwnersWords(back, hot(35))
	require.NoError(t, err)
	assert.Regexp(t, `^cooler than then by 17 ± \d K$`, words)
	none := reading()
	none.Room = nil
	_, err = inspection.OwnersWords(back, none)
	assert.Error(t, err)
}
