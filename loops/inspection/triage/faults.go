// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

// fault is one form of a cause: what it does to the path of the heat and how
// often it shows each value of a sign.
type fault struct {
	cause Cause
	what  string
	prior float64 // of the form; all add to one
	// inner is what it adds from die to coolant in K/W, outer its factor on the
	// resistance from coolant to room; zero is no effect.
	inner, outer spread
	// slow is the share of inner that a step in power shows only after 10 s,
	// since it lies behind the plate's heat capacity.
	slow float64
	// still says that the coolant does not move, so that the radiator stays as
	// cool as the room.
	still bool
	// oneHot and uneven are how often one tube is hot and the other cool, and
	// the radiator uneven to the hand; zero takes that of a sound machine.
	oneHot, uneven float64
	// flow is what is left of the flow; zero is all of it.
	flow float64
	// stuck says that the reading does not follow the heat, atLimit that the
	// machine keeps its die at the limit.
	stuck, atLimit bool
	signs          map[Sign][]float64 // in the order of the question's values
}

// faults is the table of the model. Sources: the rises in K/W are the rows
// paste_effect_on_die, mount_tilted_or_one_screw_loose, air_trapped_in_plate,
// pump_stop_to_throttle, dust_UA_loss, all_fans_stopped_UA_left,
// one_fan_of_two_reversed_UA_loss and all_fans_reversed of the thermal figures
// (common practice, no source), the priors the rows prior_cause_of_overheating
// with room made for the causes that these leave out. Frequencies of signs are
// common practice: what each fault shows, less what a hurried look misses.
func faults() []fault {
	type rows = map[Sign][]float64
	return []fault{
		{cause: Pump, what: "the pump stands still", prior: .07,
			inner: spread{.80, .60}, slow: .85, still: true, oneHot: .68, uneven: .05,
			signs: rows{SignPump: {.12, .80, .08}, SignOnset: {.10, .83, .07}, SignPinch: {.04, .96}, SignSpeed: {.10, .90}}},
		{cause: Pump, what: "the pump is weak or erratic", prior: .07,
			inner: spread{.24, .55}, slow: .50, oneHot: .60, uneven: .14, flow: .12,
			signs: rows{SignPump: {.20, .03, .77}, SignOnset: {.55, .38, .07}, SignPinch: {.76, .24}, SignRock: {.89, .11}, SignSpeed: {.09, .91}}},
		{cause: Clog, what: "the plate or a filter is clogged", prior: .08,
			inner: spread{.22, .55}, slow: .50, oneHot: .60, uneven: .16, flow: .12,
			signs: rows{SignPump: {.86, .01, .13}, SignOnset: {.85, .08, .07}, SignPinch: {.80, .20}, SignSpeed: {.93, .07}}},
		{cause: Clog, what: "a tube is kinked", prior: .03,
			inner: spread{.28, .60}, slow: .50, oneHot: .65, uneven: .14, flow: .10,
			signs: rows{SignPump: {.82, .02, .16}, SignOnset: {.05, .25, .70}, SignPinch: {.68, .32}, SignRock: {.80, .20}, SignSpeed: {.93, .07}}},
		{cause: Mount, what: "the mount is loose or tilted", prior: .09,
			inner: spread{.21, .55},
			signs: rows{SignScrews: {.10, .90}, SignPaste: {.33, .07, .60}, SignOnset: {.10, .15, .75}, SignRetighten: {.12, .88}, SignRock: {.86, .14}}},
		{cause: Paste, what: "the paste is dry", prior: .06,
			inner: spread{.16, .50},
			signs: rows{SignPaste: {.04, .86, .10}, SignOnset: {.85, .08, .07}, SignFins: {.70, .30}, SignScrews: {.90, .10}, SignRetighten: {.82, .18}}},
		{cause: Paste, what: "the paste is wrong, too little, or a film was left on", prior: .04,
			inner: spread{.30, .55},
			signs: rows{SignPaste: {.06, .10, .84}, SignOnset: {.05, .07, .88}, SignScrews: {.92, .08}, SignRetighten: {.82, .18}}},
		{cause: Dust, what: "dust sits in the fins or the filter", prior: .08,
			outer: spread{1.9, .35}, uneven: .12,
			signs: rows{SignFins: {.05, .95}, SignOnset: {.90, .07, .03}, SignIntake: {.72, .22, .06}, SignSwap: {.72, .28}}},
		{cause: Dust, what: "the intake is blocked", prior: .03,
			outer: spread{2.4, .45}, uneven: .08,
			signs: rows{SignFins: {.50, .50}, SignOnset: {.30, .45, .25}, SignIntake: {.07, .86, .07}, SignSwap: {.80, .20}}},
		{cause: Fan, what: "a fan stands still", prior: .04,
			outer: spread{6, .80}, uneven: .20,
			signs: rows{SignFan: {.03, .93, .04}, SignOnset: {.12, .78, .10}, SignSwap: {.07, .93}}},
		{cause: Fan, what: "a fan is slow", prior: .02,
			outer: spread{1.9, .30}, uneven: .06,
			signs: rows{SignFan: {.14, .03, .83}, SignOnset: {.50, .35, .15}, SignSwap: {.10, .90}}},
		{cause: Fan, what: "the fans blow the wrong way", prior: .02,
			outer: spread{2.0, .35}, uneven: .05,
			signs: rows{SignDirection: {.05, .89, .06}, SignOnset: {.04, .06, .90}, SignIntake: {.38, .05, .57}, SignSwap: {.12, .88}}},
		{cause: Fan, what: "two fans blow at each other", prior: .01,
			outer: spread{2.2, .35}, uneven: .40,
			signs: rows{SignDirection: {.05, .07, .88}, SignOnset: {.04, .06, .90}, SignIntake: {.55, .05, .40}, SignSwap: {.12, .88}}},
		{cause: Air, what: "air stands in the plate or the pump", prior: .06,
			inner: spread{.22, .55}, slow: .50, oneHot: .24, uneven: .36, flow: .6,
			signs: rows{SignPump: {.36, .02, .62}, SignLevel: {.60, .40}, SignRock: {.09, .91}, SignOnset: {.25, .33, .42}, SignPinch: {.93, .07}, SignSpeed: {.64, .36}}},
		{cause: Air, what: "the level is low", prior: .04,
			inner: spread{.22, .55}, slow: .50, oneHot: .28, uneven: .36, flow: .6,
			signs: rows{SignPump: {.36, .03, .61}, SignLevel: {.05, .95}, SignRock: {.10, .90}, SignOnset: {.72, .18, .10}, SignPinch: {.93, .07}, SignSpeed: {.64, .36}}},
		{cause: Sensor, what: "the sensor is stuck", prior: .02,
			stuck: true,
			signs: rows{SignSecond: {.08, .92}, SignOnset: {.10, .60, .30}}},
		{cause: Sensor, what: "the sensor is off by a fixed amount", prior: .03,
			signs: rows{SignSecond: {.07, .93}, SignOnset: {.15, .35, .50}}},
		{cause: Throttle, what: "the machine runs at its temperature limit by design", prior: .025,
			atLimit: true,
			signs:   rows{SignOnset: {.08, .32, .60}}},
		{cause: Throttle, what: "a limit of power holds the clock down, not heat", prior: .025,
			signs: rows{SignOnset: {.08, .47, .45}}},
		{cause: Room, what: "the room is hot", prior: .03,
			signs: rows{SignOnset: {.35, .58, .07}, SignIntake: {.82, .02, .16}}},
		{cause: Heat, what: "the radiator is too small for the heat", prior: .04,
			outer: spread{2.2, .35},
			signs: rows{SignOnset: {.06, .30, .64}}},
		{cause: None, what: "no fault", prior: .09},
	}
}

// pairable are the causes that are met together; common practice names dust
// with old paste first.
func pairable() []Cause { return []Cause{Pump, Clog, Mount, Paste, Dust, Fan, Air} }

// twoAtOnce is how much likelier two faults meet than by chance, with the
// priors given: about 6 in 100 machines have two (judgement).
const twoAtOnce = .25

// remedies say what to do once a cause is told and nothing is left to ask;
// minutes are common practice.
func remedies() map[Cause]Next {
	return map[Cause]Next{
		Pump:     {Do: "change the pump or the unit, then prove it", Minutes: 40},
		Clog:     {Do: "straighten the tubes; open, flush and clean the plate; then prove it", Minutes: 60},
		Mount:    {Do: "seat the plate again, screws crosswise to the maker's torque, then prove it", Minutes: 15},
		Paste:    {Do: "clean both faces, new paste, seat crosswise, then prove it", Minutes: 20},
		Dust:     {Do: "brush and blow the fins from behind with the fan held, free the intake, then prove it", Minutes: 15},
		Fan:      {Do: "change or turn the fan, then prove it", Minutes: 10},
		Air:      {Do: "fill to the mark and bleed with the pump at the lowest point, then prove it", Minutes: 20},
		Sensor:   {Do: "read the die by another program and against the room after a night off", Minutes: 10},
		Throttle: {Do: "read the limits in the firmware; leave them, or set them knowingly", Minutes: 5},
		Room:     {Do: "bring cool air to the machine or lower its load", Minutes: 5},
		Heat:     {Do: "lower the limit of power or fit a larger radiator", Minutes: 30},
		None:     {Do: "read die, room and watts again under the load that was complained of", Minutes: 15},
	}
}
