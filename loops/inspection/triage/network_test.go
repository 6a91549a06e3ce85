// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
	"fillmark/loops/inspection/triage"
)

// network is the first simulator: a lumped thermal network of die, plate,
// coolant and case air, stepped through time, with a machine that throttles
// and a technician who feels and errs. Its equations stand in doc/triage.md.
type network struct {
	drawn
	faults []string
	sealed bool
	twins  bool // two fans

	room, watts, limit float64 // °C, W wanted, °C
	held               float64 // W that a limit of power allows; 0 none
	paste, plate       float64 // K/W: die to plate, plate to coolant at usual flow
	bubble             float64 // K/W of gas in the plate
	flow, usualFlow    float64 // l/h
	conductance        float64 // W/K of the radiator
	stopped            int     // fans that stand
	mounted, fanFactor float64 // shares of the conductance that dust and fans leave
	recirculated       float64 // share of the heat that comes back with the intake air
	airWatts           float64 // W/K of the air stream
	stuckAt, offset    float64
	dirty, blocked     bool
	loose              bool
	dry, partial       bool
	low                bool

	die, in, out, core float64 // after soak, °C
	intake             float64
	delivered          float64 // W
	throttled          bool
	fast, slow         float64 // K/W of a step in power
	stepped            float64 // W of it
}

// networkForm is one form of a cause.
type networkForm struct {
	name   string
	cause  triage.Cause
	weight float64
}

// networkForms are the forms of the causes, with the weights of doc/triage.md.
func networkForms() []networkForm {
	return []networkForm{
		{"pump stopped", triage.Pump, .07}, {"pump weak", triage.Pump, .07}, {"clog", triage.Clog, .08}, {"kink", triage.Clog, .03},
		{"mount", triage.Mount, .09}, {"dry paste", triage.Paste, .06}, {"film", triage.Paste, .04}, {"dust", triage.Dust, .08},
		{"blocked", triage.Dust, .03}, {"fan stopped", triage.Fan, .04}, {"fan slow", triage.Fan, .02}, {"reversed", triage.Fan, .02},
		{"fighting", triage.Fan, .01}, {"air", triage.Air, .06}, {"low", triage.Air, .04}, {"stuck", triage.Sensor, .02},
		{"offset", triage.Sensor, .03}, {"limit", triage.Throttle, .025}, {"held", triage.Throttle, .025}, {"hot room", triage.Room, .03},
		{"heat", triage.Heat, .04}, {"none", triage.None, .09},
	}
}

func causeOf(form string) triage.Cause {
	all := networkForms()
	return all[slices.IndexFunc(all, func(f networkForm) bool { return f.name == form })].cause
}

// newNetwork draws a machine that somebody complains of: a fault counts where
// the die stands at least 12 K above what it would without it.
func newNetwork(r *rand.Rand) *network {
	for {
		n := &network{drawn: drawn{r}}
		n.drawSound()
		sound := *n
		n.drawFaults()
		sound.room = n.room
		if n.complained(sound) {
			return n
		}
	}
}

func (n *network) drawSound() {
	n.sealed = n.chance(.6)
	n.twins = n.chance(.75)
	n.room = 22.5 + 3*n.NormFloat64()
	n.limit = n.between(89, 100)
	n.paste = n.around(.09, .24)
	n.plate = n.around(.03, .07)
	if n.sealed {
		n.watts = n.around(60, 210)
		n.usualFlow = n.around(35, 110)
		n.conductance = n.around(12, 30)
	} else {
		n.watts = n.around(90, 330)
		n.usualFlow = n.around(80, 240)
		n.conductance = n.around(17, 45)
	}
	n.flow, n.mounted, n.fanFactor = n.usualFlow, 1, 1
	n.airWatts = n.conductance * n.between(2, 4)
	n.recirculated = n.between(0, .15)
	n.dirty = n.chance(.12)
}

func (n *network) drawFaults() {
	first := n.form()
	n.faults = []string{first}
	pairable := func(f string) bool {
		return slices.Index([]string{"stuck", "offset", "limit", "held", "hot room", "heat", "none"}, f) < 0
	}
	if pairable(first) && n.chance(.07) {
		for {
			if second := n.form(); pairable(second) && causeOf(second) != causeOf(first) {
				n.faults = append(n.faults, second)
				break
			}
		}
	}
	for _, f := range n.faults {
		n.damage(f)
	}
}

func (n *network) form() string {
	at := n.Float64()
	for _, f := range networkForms() {
		if at -= f.weight; at < 0 {
			return f.name
		}
	}
	return "none"
}

// damage puts one fault into the machine, by the ranges of the figures.
func (n *network) damage(form string) {
	switch form {
	case "pump stopped":
		n.flow = n.between(0, .5) // natural draught in the tubes
	case "pump weak":
		n.flow *= n.around(.03, .25)
	case "clog":
		n.flow *= n.around(.04, .30)
		n.plate *= n.between(1, 2)
	case "kink":
		n.flow *= n.around(.02, .20)
	case "mount":
		n.paste += n.around(.06, .40)
		n.loose, n.partial = n.chance(.92), n.chance(.65)
	case "dry paste":
		n.paste += n.around(.05, .28)
		n.dry = true
	case "film":
		n.paste += n.around(.10, .60)
		n.partial = true
	case "dust":
		n.mounted *= n.between(.30, .75)
		n.dirty = true
	case "blocked":
		n.mounted *= n.between(.20, .60)
		n.blocked = true
	case "fan stopped":
		n.stopped = 1
		n.fanFactor = n.between(.5, .7)
		if !n.twins || n.chance(.6) {
			n.stopped, n.fanFactor = 2, n.between(.03, .15)
		}
	case "fan slow":
		n.fanFactor = n.between(.35, .70)
	case "reversed":
		n.recirculated += n.between(.8, 2.4)
		n.fanFactor = n.between(.75, 1)
	case "fighting":
		n.twins = true
		n.fanFactor = n.between(.30, .65)
		n.recirculated += n.between(.1, .5)
	case "air", "low":
		n.bubble = n.around(.07, .45)
		n.flow *= n.between(.3, .8)
		n.low = form == "low"
	case "stuck":
		n.stuckAt = n.between(5, 110)
	case "offset":
		n.offset = n.between(10, 35)
		if n.chance(.15) {
			n.offset = -n.offset
		}
	case "hot room":
		n.room = n.between(30, 40)
		n.watts *= n.between(1, 1.5)
	case "heat":
		n.watts = n.heat(1)
		n.conductance = n.watts / n.between(19, 36) // the coolant stands this far above the room
	case "limit":
		n.watts = n.heat(1.25)
	case "held":
		n.held = n.watts
		n.watts *= n.between(1.2, 1.8)
	}
}

// heat is a load that is too much for such a machine.
func (n *network) heat(times float64) float64 {
	if n.sealed {
		return times * n.between(180, 330)
	}
	return times * n.between(330, 620)
}

// complained tells whether anybody would come with it, against the same
// machine when it was sound.
func (n *network) complained(was network) bool {
	n.soak(true)
	switch n.faults[0] {
	case "none":
		return n.die < 85
	case "stuck":
		return math.Abs(n.stuckAt-n.die) > 8
	case "offset":
		return true
	case "held":
		return n.die < n.limit-8
	case "limit":
		return n.throttled && n.core-n.room < 14
	case "heat":
		return n.die > 74 && n.core-n.room > 18
	case "hot room":
		return n.die > 74
	}
	was.soak(false)
	return n.die-was.die > 12 || n.delivered < .93*was.delivered
}

// plateResistance falls with the flow: R0 + a V^-1/2 + 1/(2 rho cp V).
func (n *network) plateResistance() float64 {
	v := max(n.flow, .15)
	return n.plate*(.45+.55*math.Sqrt(n.usualFlow/v)) + .43/v + n.bubble
}

// soak runs the machine from rest to its steady state and, where step is set,
// reads a step in power from idle on the way.
func (n *network) soak(step bool) {
	ua := n.conductance * n.mounted * n.fanFactor
	share := n.recirculated
	cPlate, cCoolant := 60.0, 1100.0
	if !n.sealed {
		cCoolant = 3500
	}
	plate, coolant, air := n.room, n.room, n.room
	wanted := n.watts
	if n.held > 0 {
		wanted = n.held
	}
	power := 0.0
	resistance := n.plateResistance()
	run := func(load, seconds float64) {
		const dt = .5
		for range int(seconds / dt) {
			power = min(load, max((n.limit-plate)/n.paste, .05*load))
			toCoolant := (plate - coolant) / resistance
			toAir := ua * (coolant - air)
			plate += dt / cPlate * (power - toCoolant)
			coolant += dt / cCoolant * (toCoolant + 3 - toAir)
			air += dt / 20 * (n.room + share*toAir/n.airWatts - air)
		}
	}
	if step {
		idle := .25 * wanted
		run(idle, 1500)
		before, low := plate+power*n.paste, power
		run(.65*wanted, 10)
		at10, high := plate+power*n.paste, power
		run(.65*wanted, 590)
		n.stepped = max(high-low, 5)
		n.fast = (at10 - before) / n.stepped
		n.slow = (plate + power*n.paste - at10) / max(power-low, 5)
	}
	run(wanted, 1500)
	n.delivered = power
	n.throttled = power < .97*wanted || n.held > 0
	n.die = plate + power*n.paste
	rise := .86 * power / max(n.flow, .5)
	n.in, n.out = max(coolant-rise/2, n.room), min(coolant+rise/2, plate)
	n.core, n.intake = coolant, air
	if n.flow < 1 {
		n.in, n.out, n.core = n.room+1, plate, n.room+1
	}
}

func (n *network) truth() []triage.Cause {
	var out []triage.Cause
	for _, f := range n.faults {
		out = append(out, causeOf(f))
	}
	return out
}

func (n *network) String() string {
	return fmt.Sprintf("%v die %.0f room %.0f %.0f W flow %.0f core %.0f in %.0f out %.0f", n.faults, n.die, n.room, n.delivered, n.flow, n.core, n.in, n.out)
}

// shown is the die as its sensor shows it.
func (n *network) shown(die float64) float64 {
	if n.stuckAt > 0 {
		return n.stuckAt
	}
	return math.Round(die + n.offset + .7*n.NormFloat64())
}

func (n *network) read() triage.Seen {
	s := triage.Seen{Sealed: n.sealed, Signs: map[triage.Sign]triage.Value{}}
	s.Die = new(chemistry.Celsius(min(n.shown(n.die), 149)))
	s.Room = new(chemistry.Celsius(math.Round(n.room + .7*n.NormFloat64())))
	s.Power = new(inspection.Watt(math.Round(n.delivered * (1 + .07*n.NormFloat64()))))
	return s
}

// try answers what a step asks; three looks in a hundred stay without a result,
// and one shows anything.
func (n *network) try(seen *triage.Seen, asks []triage.Sign) {
	for _, sign := range asks {
		if sign == triage.SignCoolant {
			seen.CoolantIn = new(chemistry.Celsius(math.Round(10*(n.in+.5*n.NormFloat64())) / 10))
			seen.CoolantOut = new(chemistry.Celsius(math.Round(10*(n.out+.5*n.NormFloat64())) / 10))
			continue
		}
		if sign == triage.SignStep && n.stuckAt == 0 {
			// Both parts in whole kelvin of a step of so many watts.
			kelvin := func(v float64) *inspection.KelvinPerWatt {
				return new(inspection.KelvinPerWatt(math.Round(v*n.stepped+.8*n.NormFloat64()) / (n.stepped * (1 + .05*n.NormFloat64()))))
			}
			seen.Fast, seen.Slow = kelvin(n.fast), kelvin(n.slow)
			continue
		}
		q, _ := triage.QuestionOf(sign)
		value := n.sign(sign)
		switch {
		case n.chance(.03):
			value = triage.Unknown
		case n.chance(.01):
			value = q.Values[n.IntN(len(q.Values))]
		}
		seen.Signs[sign] = value
	}
}

func (n *network) has(forms ...string) bool {
	return slices.ContainsFunc(n.faults, func(f string) bool { return slices.Contains(forms, f) })
}

// sign is what the technician finds.
func (n *network) sign(sign triage.Sign) triage.Value {
	pick := func(yes bool, a, b triage.Value) triage.Value {
		if yes {
			return a
		}
		return b
	}
	warm, hot := 29.5+1.7*n.NormFloat64(), 43+2.5*n.NormFloat64()
	switch sign {
	case triage.SignClock:
		return pick(n.throttled, "throttled", "full")
	case triage.SignPump:
		switch {
		case n.has("pump stopped"):
			return pick(n.chance(.87), "stopped", "running")
		case n.has("pump weak"):
			return pick(n.chance(.82), "noisy", "running")
		case n.has("air", "low"):
			return pick(n.chance(.65), "noisy", "running")
		case n.has("clog", "kink"):
			return pick(n.chance(.12), "noisy", "running")
		}
		return pick(n.chance(.04), "noisy", "running")
	case triage.SignTubes:
		if n.out-n.in > 8+2*n.NormFloat64() && n.out > warm {
			return "one-hot"
		}
		return pick((n.in+n.out)/2 > warm, "both-warm", "both-cool")
	case triage.SignRadiator:
		uneven := n.out-n.in > 14 && n.flow >= 1 && n.chance(.5)
		uneven = uneven || n.has("air", "low") && n.chance(.3) || n.stopped == 1 && n.chance(.4) || n.has("fighting") && n.chance(.4)
		switch {
		case uneven:
			return "uneven"
		case n.core > hot:
			return "hot"
		}
		return pick(n.core > warm, "warm", "cold")
	case triage.SignFins:
		return pick(n.dirty, "dusty", "clean")
	case triage.SignFan:
		return pick(n.stopped > 0, "stopped", pick(n.has("fan slow") && n.chance(.88), "slow", "running"))
	case triage.SignDirection:
		return pick(n.has("reversed") && n.chance(.92), "in", pick(n.has("fighting") && n.chance(.92), "against", "out"))
	case triage.SignIntake:
		return pick(n.blocked && n.chance(.92), "blocked", pick(n.intake > n.room+4, "warm", "free"))
	case triage.SignLevel:
		return pick(n.low && n.chance(.96) || n.has("air") && n.chance(.3) || n.chance(.03), "low", "full")
	case triage.SignScrews:
		return pick(n.loose || n.chance(.04), "loose", "tight")
	case triage.SignPaste:
		return pick(n.dry && n.chance(.94), "dry", pick(n.partial && n.chance(.95) || n.chance(.03), "partial", "good"))
	case triage.SignOnset:
		return n.since()
	}
	return n.trial(sign)
}

func (n *network) since() triage.Value {
	form := n.faults[n.IntN(len(n.faults))]
	weights := map[string][3]float64{ // slowly, at once, after work
		"pump stopped": {.1, .85, .05}, "pump weak": {.6, .35, .05}, "clog": {.9, .05, .05}, "kink": {0, .2, .8}, "mount": {.1, .1, .8},
		"dry paste": {.9, .05, .05}, "film": {0, .05, .95}, "dust": {.95, .04, .01}, "blocked": {.3, .4, .3}, "fan stopped": {.1, .8, .1},
		"fan slow": {.5, .4, .1}, "reversed": {0, .05, .95}, "fighting": {0, .05, .95}, "air": {.2, .3, .5}, "low": {.8, .1, .1},
		"stuck": {.1, .6, .3}, "offset": {.2, .3, .5}, "limit": {.05, .35, .6}, "held": {.05, .5, .45}, "hot room": {.4, .55, .05},
		"heat": {.05, .3, .65}, "none": {.3, .35, .35},
	}[form]
	at := n.Float64()
	for i, v := range []triage.Value{"slowly", "at-once", "after-work"} {
		if at -= weights[i]; at < 0 {
			return v
		}
	}
	return "after-work"
}

// again runs the machine after something was put right on it.
func (n *network) again(change func(*network)) float64 {
	after := *n
	change(&after)
	after.soak(false)
	gain := n.die - after.die
	if after.delivered > 1.08*n.delivered {
		gain = max(gain, 4) // the clock comes back
	}
	if n.stuckAt > 0 {
		gain = 0
	}
	return gain + 1*n.NormFloat64()
}

// trial is what a step that changes something shows.
func (n *network) trial(sign triage.Sign) triage.Value {
	better := func(gain float64) triage.Value {
		if gain > 3 {
			return "better"
		}
		return "same"
	}
	switch sign {
	case triage.SignRetighten:
		return better(n.again(func(x *network) {
			if x.has("mount") && x.chance(.9) {
				x.paste = min(x.paste, .16)
			} else if x.has("film", "dry paste") {
				x.paste *= .95
			}
		}))
	case triage.SignSwap:
		return better(n.again(func(x *network) {
			x.fanFactor = 1
			if x.has("reversed", "fighting") {
				x.recirculated = .08
			}
		}))
	case triage.SignRock:
		if n.has("air", "low") && n.chance(.92) || n.has("pump weak", "kink") && n.chance(.10) || n.has("mount") && n.chance(.1) || n.chance(.03) {
			return "changed"
		}
		return "same"
	case triage.SignSpeed:
		if n.has("pump stopped") && n.chance(.92) || n.has("pump weak") && n.chance(.92) || n.has("air", "low") && n.chance(.35) || n.chance(.03) {
			return "slow"
		}
		return "steady"
	case triage.SignPinch:
		if n.flow > 5 && n.chance(.95) || n.flow <= 5 && n.flow > 1 && n.chance(.4) || n.chance(.03) {
			return "changes"
		}
		return "nothing"
	case triage.SignSecond:
		shown := n.shown(n.die)
		if math.Abs(shown-n.die-1.5*n.NormFloat64()) > 5 {
			return "differs"
		}
		return "agrees"
	case triage.SignStep:
		return "frozen"
	}
	return triage.Unknown
}
