// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"strings"

	"fillmark/loops/inspection"
)

// Sign is one thing that can be seen, felt, asked or tried.
type Sign string

// Value is what a sign shows.
type Value string

// Unknown says that a sign was not looked at or could not be told. It is as
// good as leaving the sign out.
const Unknown Value = "unknown"

// The signs. The first twelve are looked at or felt; the rest come from a
// trial.
const (
	SignClock     Sign = "clock"
	SignPump      Sign = "pump"
	SignTubes     Sign = "tubes"
	SignRadiator  Sign = "radiator"
	SignFins      Sign = "fins"
	SignFan       Sign = "fan"
	SignDirection Sign = "fan-direction"
	SignLevel     Sign = "level"
	SignScrews    Sign = "screws"
	SignPaste     Sign = "paste"
	SignIntake    Sign = "intake"
	SignOnset     Sign = "onset"
	SignRetighten Sign = "retighten"
	SignRock      Sign = "rock"
	SignSwap      Sign = "fan-swap"
	SignPinch     Sign = "pinch"
	SignSpeed     Sign = "pump-speed"
	SignStep      Sign = "power-step"
	SignSecond    Sign = "second-sensor"
)

// Question is a sign with what it can show.
type Question struct {
	Sign   Sign
	Values []Value
	// Help says what the values mean.
	Help string
	// usual is how often a sound machine shows each value; nil where the model
	// works it out from temperatures.
	usual []float64
}

// Questions lists the signs in the order they are asked for on a screen. The
// frequencies for a sound machine are common practice, without a source: they
// hold what is found by the way (dust on machines that run well) and what is
// seen wrongly.
func Questions() []Question {
	return []Question{
		{SignClock, []Value{"full", "throttled"}, "clock under load: full, or throttled below it", nil},
		{SignPump, []Value{"running", "stopped", "noisy"}, "pump by ear and finger: running, stopped, or noisy, erratic, gurgling", []float64{.95, .01, .04}},
		{SignTubes, []Value{"both-cool", "both-warm", "one-hot"}, "tubes after some minutes under load: both-cool, both-warm, or one-hot and the other cool", nil},
		{SignRadiator, []Value{"cold", "warm", "hot", "uneven"}, "radiator to the hand: cold, warm, hot all over, or uneven", nil},
		{SignFins, []Value{"clean", "dusty"}, "fins and filter with a lamp: clean or dusty", []float64{.86, .14}},
		{SignFan, []Value{"running", "stopped", "slow"}, "radiator's fans: running, stopped (one or all), or slow", []float64{.97, .01, .02}},
		{SignDirection, []Value{"out", "in", "against"}, "air through the fins by a strip of paper: out as it was meant, in (the wrong way round), or against (fans blow at each other)", []float64{.98, .01, .01}},
		{SignLevel, []Value{"full", "low"}, "level in the reservoir: full or low", []float64{.96, .04}},
		{SignScrews, []Value{"tight", "loose"}, "mounting screws, tried crosswise: tight and even, or loose or uneven", []float64{.95, .05}},
		{SignPaste, []Value{"good", "dry", "partial"}, "print of the paste: good (thin, all over), dry, or partial (bare places, film, wedge)", []float64{.91, .05, .04}},
		{SignIntake, []Value{"free", "blocked", "warm"}, "air into the radiator: free and as cool as the room, blocked, or warmer than the room", []float64{.95, .02, .03}},
		{SignOnset, []Value{"slowly", "at-once", "after-work"}, "how it came: slowly over weeks, at-once, or after-work on the machine", []float64{.30, .35, .35}},
		{SignRetighten, []Value{"same", "better"}, "screws retightened crosswise, die after 2 min: same or better by 3 K or more", []float64{.95, .05}},
		{SignRock, []Value{"same", "changed"}, "unit rocked and tilted: same, or sound or die changed", []float64{.96, .04}},
		{SignSwap, []Value{"same", "better"}, "a known good fan put in, die after 5 min: same or better by 3 K or more", []float64{.95, .05}},
		{SignPinch, []Value{"changes", "nothing"}, "one tube pinched softly for 5 s: the note or the die changes, or nothing does", []float64{.93, .07}},
		{SignSpeed, []Value{"steady", "slow"}, "pump's speed with its control at full: steady as it should be, or slow or erratic (a steady speed is not flow)", []float64{.96, .04}},
		{SignStep, []Value{"as-usual", "jumps", "climbs", "frozen"}, "die after a step in power: as-usual, jumps far inside 10 s, climbs far over minutes, or frozen", nil},
		{SignSecond, []Value{"agrees", "differs"}, "second thermometer at the plate, or the die's own after a night off against the room: agrees or differs", []float64{.96, .04}},
	}
}

// QuestionOf returns the question of a sign.
func QuestionOf(sign Sign) (Question, bool) {
	for _, q := range Questions() {
		if q.Sign == sign {
			return q, true
		}
	}
	return Question{}, false
}

// choices lists the values: "running, stopped, noisy or unknown".
func (q Question) choices() string {
	names := make([]string, len(q.Values))
	for i, v := range q.Values {
		names[i] = string(v)
	}
	return strings.Join(names, ", ") + " or " + string(Unknown)
}

// OfLog is what a temperature log from switching on shows of a step in power.
// That something flows does not say that the step is as usual.
func OfLog(class inspection.Class) Value {
	switch class {
	case inspection.MountSuspect:
		return "jumps"
	case inspection.NoFlowSeen:
		return "climbs"
	}
	return Unknown
}
