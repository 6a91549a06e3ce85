// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
	"fillmark/loops/inspection/triage"
)

// machine is a Seen from figures and "sign=value" words.
func machine(sealed bool, die, room, watts float64, signs string) triage.Seen {
	s := triage.Seen{Sealed: sealed, Die: new(chemistry.Celsius(die)), Room: new(chemistry.Celsius(room)),
		Power: new(inspection.Watt(watts)), Signs: map[triage.Sign]triage.Value{}}
	for word := range strings.FieldsSeq(signs) {
		sign, value, _ := strings.Cut(word, "=")
		s.Signs[triage.Sign(sign)] = triage.Value(value)
	}
	return s
}

// What an experienced technician would call each of these.
func TestJudge(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		seen triage.Seen
		want triage.Cause
	}{
		{"dead pump", machine(true, 98, 22, 60, "clock=throttled pump=stopped tubes=one-hot radiator=cold fan=running"), triage.Pump},
		{"dead pump that still hums", machine(true, 97, 22, 55, "clock=throttled pump=running tubes=one-hot radiator=cold fan=running fins=clean pinch=nothing"), triage.Pump},
		{"low coolant", machine(false, 88, 22, 120, "pump=noisy level=low tubes=both-warm fan=running fins=clean"), triage.Air},
		{"air in a sealed unit", machine(true, 88, 22, 120, "pump=noisy rock=changed fan=running fins=clean"), triage.Air},
		{"clogged plate", machine(false, 85, 22, 150, "pump=running tubes=one-hot radiator=warm fan=running fins=clean screws=tight level=full onset=slowly"), triage.Clog},
		{"loose mount", machine(true, 92, 22, 100, "tubes=both-cool radiator=cold screws=loose fan=running pump=running"), triage.Mount},
		{"dry paste", machine(true, 90, 22, 140, "paste=dry screws=tight fan=running fins=clean pump=running"), triage.Paste},
		{"film left on", machine(true, 95, 22, 110, "clock=throttled onset=after-work screws=tight paste=partial"), triage.Paste},
		{"tilted plate", machine(true, 91, 22, 110, "onset=after-work screws=loose paste=partial"), triage.Mount},
		{"dust", machine(false, 74, 24, 130, "fins=dusty fan=running radiator=hot tubes=both-warm pump=running"), triage.Dust},
		{"blocked intake", machine(false, 78, 24, 130, "fins=clean intake=blocked fan=running radiator=hot tubes=both-warm pump=running"), triage.Dust},
		{"fan stands still", machine(true, 90, 22, 100, "fan=stopped radiator=hot tubes=both-warm pump=running"), triage.Fan},
		{"fans reversed", machine(true, 76, 22, 130, "fan=running fan-direction=in radiator=hot fins=clean pump=running"), triage.Fan},
		{"fans fight", machine(true, 82, 22, 130, "fan=running fan-direction=against radiator=uneven fins=clean pump=running"), triage.Fan},
		{"die below the room", machine(true, 15, 22, 100, ""), triage.Sensor},
		{"stuck sensor", machine(true, 100, 22, 100, "clock=full power-step=frozen tubes=both-cool radiator=cold fan=running pump=running"), triage.Sensor},
		{"sensor is off", machine(true, 75, 22, 90, "second-sensor=differs fan=running pump=running fins=clean screws=tight"), triage.Sensor},
		{"limit by design", machine(true, 95, 22, 240, "clock=throttled pump=running fan=running fins=clean radiator=warm tubes=both-warm screws=tight fan-direction=out onset=after-work intake=free rock=same second-sensor=agrees power-step=as-usual"), triage.Throttle},
		{"limit of power", machine(true, 62, 22, 125, "clock=throttled pump=running fan=running fins=clean"), triage.Throttle},
		{"hot room", machine(true, 88, 38, 180, "pump=running fan=running fins=clean screws=tight"), triage.Room},
		{"too much heat", machine(true, 99, 23, 215, "clock=throttled radiator=hot tubes=both-warm pump=running fan=running fins=clean fan-direction=out onset=after-work screws=tight"), triage.Heat},
		{"no fault", machine(true, 52, 22, 110, "pump=running tubes=both-warm radiator=warm fan=running fins=clean fan-direction=out screws=tight clock=full"), triage.None},
		{"no fault, open", machine(false, 60, 22, 180, "pump=running tubes=both-warm radiator=warm fan=running fins=clean fan-direction=out level=full clock=full"), triage.None},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a, err := triage.Judge(tt.seen)
			require.NoError(t, err)
			assert.Equal(t, tt.want, a.Causes[0].Cause, "%s; next %+v", table(a), a.Next)
			assert.True(t, a.Told, table(a))
		})
	}
}

// table shows an answer in a failing test.
func table(a triage.Answer) string {
	var b strings.Builder
	b.WriteString(a.Text)
	for _, c := range a.Causes[:5] {
		b.WriteString("\n  " + string(c.Cause) + " " + strings.TrimLeft(inspection.KelvinPerWatt(c.Probability).String(), "") + " " + c.What + ": " + c.Why)
	}
	return strings.ReplaceAll(b.String(), " K/W ", " ")
}

// A resistance a little below the band is no proof of a wrong sensor: watts
// overstated by a third do the same. Far below it they do not.
func TestOverstatedWattsAreThoughtOf(t *testing.T) {
	t.Parallel()
	const sound = "pump=running tubes=both-warm radiator=warm fan=running fins=clean fan-direction=out screws=tight clock=full"
	a, err := triage.Judge(machine(true, 33, 22, 100, sound))
	require.NoError(t, err)
	assert.False(t, a.Told, table(a))
	assert.ElementsMatch(t, []triage.Cause{triage.Sensor, triage.None}, []triage.Cause{a.Causes[0].Cause, a.Causes[1].Cause}, table(a))
	for _, c := range a.Causes[:2] {
		assert.Greater(t, c.Probability, 0.2, table(a))
		assert.Equal(t, c.Cause == triage.None, strings.Contains(c.Why, "watts are those of a label"), c.Why)
	}
	assert.NotEmpty(t, a.Next.Separates)

	a, err = triage.Judge(machine(true, 27, 22, 100, sound))
	require.NoError(t, err)
	assert.Equal(t, triage.Sensor, a.Causes[0].Cause, table(a))
	assert.True(t, a.Told, table(a))
}

// With three figures alone nothing is told but a reading that cannot be true,
// whatever they are, and there is always a next step.
func TestThreeFiguresAloneTellNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		die, room := rapid.Float64Range(-20, 125).Draw(t, "die"), rapid.Float64Range(5, 45).Draw(t, "room")
		watts := rapid.Float64Range(20, 800).Draw(t, "watts")
		a, err := triage.Judge(machine(rapid.Bool().Draw(t, "sealed"), die, room, watts, ""))
		require.NoError(t, err)
		if a.Told {
			assert.Equal(t, triage.Sensor, a.Causes[0].Cause, a.Text)
			assert.True(t, (die-room)/watts < .06 || die > 112, a.Text)
			return
		}
		assert.True(t, strings.HasPrefix(a.Text, "Cannot tell yet"), a.Text)
		assert.NotEmpty(t, a.Next.Do)
	})
}

// Whatever is seen: the probabilities add to one and fall, each has a reason,
// and "no fault" is never first above the band.
func TestJudgeProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seen := machine(rapid.Bool().Draw(t, "sealed"), rapid.Float64Range(20, 110).Draw(t, "die"), rapid.Float64Range(10, 40).Draw(t, "room"),
			rapid.Float64Range(30, 600).Draw(t, "watts"), "")
		for _, q := range triage.Questions() {
			if rapid.Bool().Draw(t, string(q.Sign)) {
				seen.Signs[q.Sign] = rapid.SampledFrom(append(q.Values, triage.Unknown)).Draw(t, "value")
			}
		}
		a, err := triage.Judge(seen)
		require.NoError(t, err)
		sum := 0.0
		for i, c := range a.Causes {
			sum += c.Probability
			assert.NotEmpty(t, c.Why)
			assert.True(t, c.Probability >= 0 && c.Probability <= 1)
			if i > 0 {
				assert.LessOrEqual(t, c.Probability, a.Causes[i-1].Probability)
			}
		}
		assert.Len(t, a.Causes, len(triage.Causes()))
		assert.InDelta(t, 1, sum, 1e-9)
		if a.Resistance != nil && *a.Resistance > a.Band.High {
			assert.NotEqual(t, triage.None, a.Causes[0].Cause)
		}
		assert.Positive(t, a.Next.Minutes)
		assert.NotEmpty(t, a.Cautions)
	})
}

// What is not known counts neither for a cause nor against it.
func TestUnknownDoesNotCount(t *testing.T) {
	t.Parallel()
	bare, err := triage.Judge(machine(true, 92, 22, 100, "screws=loose"))
	require.NoError(t, err)
	var all strings.Builder
	all.WriteString("screws=loose")
	for _, q := range triage.Questions() {
		if q.Sign != triage.SignScrews {
			all.WriteString(" " + string(q.Sign) + "=unknown")
		}
	}
	unknown, err := triage.Judge(machine(true, 92, 22, 100, all.String()))
	require.NoError(t, err)
	assert.Equal(t, bare, unknown)
}

// Two faults at once are named together where one does not explain it.
func TestTwoFaults(t *testing.T) {
	t.Parallel()
	a, err := triage.Judge(machine(true, 96, 22, 110, "screws=loose retighten=better fins=dusty fan=stopped fan-swap=better radiator=hot tubes=both-warm pump=running"))
	require.NoError(t, err)
	require.NotNil(t, a.Both, table(a))
	assert.ElementsMatch(t, []triage.Cause{triage.Mount, triage.Fan}, a.Both.Causes[:])
}

// A pair is told by its own share, not by that of one of its two.
func TestAPairIsToldByItsOwnShare(t *testing.T) {
	t.Parallel()
	a, err := triage.Judge(machine(false, 84, 22, 110, "retighten=better fan=slow fan-swap=better radiator=hot"))
	require.NoError(t, err)
	require.NotNil(t, a.Both)
	require.True(t, a.Told && a.Both.Probability < triage.ToldFrom, table(a))
	assert.Equal(t, "A fan is slow (61 %).", a.Text)
}

// The first step asks for a look at what runs, so the caution names both.
func TestTheCautionLetsALoopRunThatIsToBeWatched(t *testing.T) {
	t.Parallel()
	a, err := triage.Judge(machine(true, 92, 22, 100, ""))
	require.NoError(t, err)
	require.NotEmpty(t, a.Cautions)
	assert.Contains(t, a.Cautions[0], "While it runs touch only its tubes, its radiator and the outside of its pump")
	assert.Contains(t, a.Cautions[0], "For all else switch off, unplug and let it cool")
}

// A sealed unit is never asked for what it has no place for.
func TestSealedIsNotAskedForItsCoolant(t *testing.T) {
	t.Parallel()
	seen := machine(true, 92, 22, 100, "")
	for range 20 {
		a, err := triage.Judge(seen)
		require.NoError(t, err)
		assert.NotContains(t, a.Next.Asks, triage.SignCoolant)
		assert.NotContains(t, a.Next.Asks, triage.SignLevel)
		for _, sign := range a.Next.Asks {
			q, ok := triage.QuestionOf(sign)
			require.True(t, ok, sign)
			seen.Signs[sign] = q.Values[0]
		}
	}
}

func TestJudgeRefuses(t *testing.T) {
	t.Parallel()
	for want, change := range map[string]func(*triage.Seen){
		"die":            func(s *triage.Seen) { s.Die = new(chemistry.Celsius(365)) },
		"room":           func(s *triage.Seen) { s.Room = new(chemistry.Celsius(-273.2)) },
		"power":          func(s *triage.Seen) { s.Power = new(inspection.Watt(0)) },
		"sign":           func(s *triage.Seen) { s.Signs["smell"] = "burnt" },
		"fan":            func(s *triage.Seen) { s.Signs[triage.SignFan] = "gone" },
		"own resistance": func(s *triage.Seen) { s.Own = new(inspection.KelvinPerWatt(-.1)) },
		"slow part":      func(s *triage.Seen) { s.Slow = new(inspection.KelvinPerWatt(65535)) },
		"coolant out":    func(s *triage.Seen) { s.CoolantOut = new(chemistry.Celsius(65535)) },
	} {
		seen := machine(true, 92, 22, 100, "")
		change(&seen)
		_, err := triage.Judge(seen)
		var invalid *chemistry.InvalidError
		require.ErrorAs(t, err, &invalid, want)
		assert.Contains(t, invalid.Field, want)
		assert.NotEmpty(t, invalid.Reason)
	}
}

// The machine's own proved resistance is its band: what is usual for its build
// is a fault for it.
func TestOwnBand(t *testing.T) {
	t.Parallel()
	seen := machine(true, 58, 22, 110, "fan=running fins=clean")
	of, err := triage.Judge(seen)
	require.NoError(t, err)
	seen.Own = new(inspection.KelvinPerWatt(.20))
	own, err := triage.Judge(seen)
	require.NoError(t, err)
	assert.True(t, own.Band.Own)
	assert.Equal(t, triage.None, of.Causes[0].Cause)
	assert.NotEqual(t, triage.None, own.Causes[0].Cause)
}

// The table of the model: priors add to one, and each row of a sign has as
// many frequencies as the sign has values and adds to one.
func TestTableOfFaults(t *testing.T) {
	t.Parallel()
	assert.NoError(t, triage.CheckTable())
}

// A die no warmer than the room is the thermometer's: no resistance comes of it,
// least of all one below nothing.
func TestNoResistanceBelowNothing(t *testing.T) {
	t.Parallel()
	for _, die := range []chemistry.Celsius{20, 22} {
		answer, err := triage.Judge(triage.Seen{Sealed: true, Die: new(die), Room: new(chemistry.Celsius(22)), Power: new(inspection.Watt(60))})
		require.NoError(t, err)
		assert.Nil(t, answer.Resistance)
		assert.Equal(t, triage.Sensor, answer.Causes[0].Cause)
		assert.Contains(t, answer.Causes[0].Why, "no warmer than the room")
		for _, c := range answer.Causes {
			assert.NotContains(t, c.Why, "K/W", c.Cause)
		}
	}
}
