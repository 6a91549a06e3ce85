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

// circuit is a machine of the second simulator with a technician of its own:
// flat distributions, other thresholds, other slips than the first has.
type circuit struct {
	drawn
	forms      []string
	sealed     bool
	now, sound *rig
	screwed    *rig // with the mount put right, where that was a fault
	fanned     *rig // with the fans put right
	held       bool // by a limit of power
	stuck, off float64
	looks      map[triage.Sign]triage.Value // what stands there to be seen
}

// Weights of the forms in thousandths, as doc/triage.md states the priors.
func circuitForms() ([]string, []int) {
	return []string{"stopped", "weak", "clogged", "kinked", "loose", "dry", "film", "dusty", "covered", "fan still", "fan slow", "fan turned", "fans against",
			"bubble", "low", "frozen", "shifted", "at limit", "power limit", "hot room", "small", "sound"},
		[]int{70, 70, 80, 30, 90, 60, 40, 80, 30, 40, 20, 20, 10, 60, 40, 20, 30, 25, 25, 30, 40, 90}
}

func (c *circuit) causes() map[string]triage.Cause {
	return map[string]triage.Cause{"stopped": triage.Pump, "weak": triage.Pump, "clogged": triage.Clog, "kinked": triage.Clog, "loose": triage.Mount,
		"dry": triage.Paste, "film": triage.Paste, "dusty": triage.Dust, "covered": triage.Dust, "fan still": triage.Fan, "fan slow": triage.Fan,
		"fan turned": triage.Fan, "fans against": triage.Fan, "bubble": triage.Air, "low": triage.Air, "frozen": triage.Sensor, "shifted": triage.Sensor,
		"at limit": triage.Throttle, "power limit": triage.Throttle, "hot room": triage.Room, "small": triage.Heat, "sound": triage.None}
}

func (c *circuit) truth() []triage.Cause {
	var out []triage.Cause
	for _, f := range c.forms {
		out = append(out, c.causes()[f])
	}
	return out
}

func (c *circuit) drawForm() string {
	names, weights := circuitForms()
	n := c.IntN(1000)
	for i, w := range weights {
		if n -= w; n < 0 {
			return names[i]
		}
	}
	return "sound"
}

// newCircuit draws a machine; its rigs are still to be solved.
func newCircuit(r *rand.Rand) *circuit {
	c := &circuit{drawn: drawn{r}, looks: map[triage.Sign]triage.Value{}}
	c.sealed = c.chance(.6)
	c.sound = c.drawRig()
	c.forms = []string{c.drawForm()}
	single := []string{"frozen", "shifted", "at limit", "power limit", "hot room", "small", "sound"}
	if !slices.Contains(single, c.forms[0]) && c.chance(.07) {
		for len(c.forms) < 2 {
			f := c.drawForm()
			if !slices.Contains(single, f) && c.causes()[f] != c.causes()[c.forms[0]] {
				c.forms = append(c.forms, f)
			}
		}
	}
	now := *c.sound
	c.now = &now
	for _, f := range c.forms {
		c.spoil(c.now, f)
	}
	c.sound.room, c.sound.watts = c.now.room, c.now.watts
	without := func(cause triage.Cause) *rig {
		fixed := *c.sound
		for _, f := range c.forms {
			if c.causes()[f] != cause {
				c.spoil(&fixed, f)
			}
		}
		return &fixed
	}
	if len(c.forms) == 2 && slices.Contains(c.truth(), triage.Mount) {
		c.screwed = without(triage.Mount)
	}
	if len(c.forms) == 2 && slices.Contains(c.truth(), triage.Fan) {
		c.fanned = without(triage.Fan)
	}
	return c
}

func (c *circuit) drawRig() *rig {
	r := &rig{room: c.between(17, 28), limit: c.between(88, 101), pack: c.between(.04, .11), paste: c.between(.04, .11), idle: c.between(.2, .3)}
	flow := c.between(80, 240)
	r.watts, r.radiator, r.coolant = c.between(90, 320), c.between(17, 45), c.between(2500, 4500)
	if c.sealed {
		flow = c.between(35, 110)
		r.watts, r.radiator, r.coolant = c.between(60, 210), c.between(12, 30), c.between(800, 1600)
	}
	r.head, r.against = flow*flow, 1
	r.plate, r.plateAt = 1/c.between(.03, .065), flow
	r.air, r.returned = r.radiator*c.between(2, 4), c.between(0, .15)
	return r
}

// spread between two by their logarithm.
func (c *circuit) log(low, high float64) float64 {
	return math.Exp(c.between(math.Log(low), math.Log(high)))
}

func (c *circuit) spoil(r *rig, form string) {
	switch form {
	case "stopped":
		r.head *= 1e-4
	case "weak":
		r.head *= c.log(.002, .05)
	case "clogged":
		r.against *= c.log(15, 700)
		r.plate *= c.between(.5, 1)
	case "kinked":
		r.against *= c.log(25, 2500)
	case "loose":
		r.paste += c.log(.07, .45)
	case "dry":
		r.paste += c.log(.06, .30)
	case "film":
		r.paste += c.log(.10, .60)
	case "dusty":
		r.radiator *= c.between(.28, .75)
	case "covered":
		r.radiator *= c.between(.20, .60)
	case "fan still":
		if c.looks["fans"] == "" {
			c.looks["fans"] = triage.Value([]string{"one", "all", "all"}[c.IntN(3)])
		}
		if c.looks["fans"] == "one" {
			r.radiator *= c.between(.5, .7)
		} else {
			r.radiator *= c.between(.03, .15)
		}
	case "fan slow":
		r.radiator *= math.Pow(c.between(.25, .6), .8)
	case "fan turned":
		r.returned += c.between(.8, 2.4)
		r.radiator *= c.between(.75, 1)
	case "fans against":
		r.returned += c.between(.1, .5)
		r.radiator *= c.between(.30, .65)
	case "bubble", "low":
		r.head *= c.between(.08, .6)
		r.plate *= c.log(.08, .35)
	case "frozen":
		c.stuck = c.between(5, 110)
	case "shifted":
		c.off = c.between(10, 35)
		if c.chance(.15) {
			c.off = -c.off
		}
	case "hot room":
		r.room = c.between(30, 40)
		r.watts *= c.between(1, 1.5)
	case "small":
		r.watts = c.much()
		r.radiator = r.watts / c.between(19, 36)
	case "at limit":
		r.watts = 1.25 * c.much()
	case "power limit":
		c.held = true
	}
}

func (c *circuit) much() float64 {
	if c.sealed {
		return c.between(180, 330)
	}
	return c.between(330, 620)
}

// rigs are the states that have to be solved.
func (c *circuit) rigs() []*rig {
	return slices.DeleteFunc([]*rig{c.now, c.sound, c.screwed, c.fanned}, func(r *rig) bool { return r == nil })
}

func (r *rig) throttled() bool { return r.power[3] < .95*r.watts }

// core is the mean of the coolant in the radiator.
func (r *rig) core() float64 { return (r.in + r.out) / 2 }

func (c *circuit) complained() bool {
	n := c.now
	switch c.forms[0] {
	case "sound":
		return n.die[3] < 85 && !n.throttled()
	case "frozen":
		return math.Abs(c.stuck-n.die[3]) > 8
	case "shifted":
		return true
	case "power limit":
		return n.die[3] < n.limit-8
	case "at limit":
		return n.throttled() && n.core()-n.room < 14
	case "small":
		return n.die[3] > 74 && n.core()-n.room > 18
	case "hot room":
		return n.die[3] > 74
	}
	return n.die[3]-c.sound.die[3] > 12 || n.power[3] < .93*c.sound.power[3]
}

func (c *circuit) String() string {
	return fmt.Sprintf("%v die %.0f room %.0f %.0f W flow %.0f in %.0f out %.0f", c.forms, c.now.die[3], c.now.room, c.now.power[3], c.now.flow, c.now.in, c.now.out)
}

func (c *circuit) shown(die float64) float64 {
	if c.stuck > 0 {
		return math.Round(c.stuck)
	}
	return math.Round(min(die+c.off+c.between(-1.2, 1.2), 149))
}

func (c *circuit) read() triage.Seen {
	return triage.Seen{Sealed: c.sealed, Signs: map[triage.Sign]triage.Value{},
		Die:   new(chemistry.Celsius(c.shown(c.now.die[3]))),
		Room:  new(chemistry.Celsius(math.Round(c.now.room + c.between(-1.2, 1.2)))),
		Power: new(inspection.Watt(math.Round(c.now.power[3] * c.between(.88, 1.12))))}
}

func (c *circuit) try(seen *triage.Seen, asks []triage.Sign) {
	for _, sign := range asks {
		switch {
		case sign != triage.SignCoolant && c.chance(.03):
			seen.Signs[sign] = triage.Unknown
		case sign == triage.SignCoolant:
			seen.CoolantIn = new(chemistry.Celsius(c.now.in + c.between(-.8, .8)))
			seen.CoolantOut = new(chemistry.Celsius(c.now.out + c.between(-.8, .8)))
		case sign == triage.SignStep && c.stuck == 0:
			r := c.now
			step := max(r.power[1]-r.power[0], 5) * c.between(.94, 1.06)
			seen.Fast = new(inspection.KelvinPerWatt((math.Round(r.die[1]-r.die[0]) + c.between(-.7, .7)) / step))
			seen.Slow = new(inspection.KelvinPerWatt((math.Round(r.die[2]-r.die[1]) + c.between(-.7, .7)) / step))
		default:
			seen.Signs[sign] = c.look(sign)
			if q, _ := triage.QuestionOf(sign); c.chance(.01) {
				seen.Signs[sign] = q.Values[c.IntN(len(q.Values))]
			}
		}
	}
}

func (c *circuit) is(forms ...string) bool {
	return slices.ContainsFunc(c.forms, func(f string) bool { return slices.Contains(forms, f) })
}

// odds says yes as often as told.
type odds = map[string]float64

// often is how often a sign shows under the forms of the machine: the likeliest
// of them, or the base.
func (c *circuit) often(base float64, of odds) bool {
	p := base
	for _, f := range c.forms {
		p = max(p, of[f])
	}
	return c.chance(p)
}

func (c *circuit) look(sign triage.Sign) triage.Value {
	r := c.now
	either := func(yes bool, a, b triage.Value) triage.Value {
		if yes {
			return a
		}
		return b
	}
	warm := max(c.between(27.5, 31), r.room+4)
	switch sign {
	case triage.SignClock:
		return either(r.throttled() || c.held, "throttled", "full")
	case triage.SignPump:
		if c.is("stopped") {
			return either(c.chance(.85), "stopped", either(c.chance(.6), "running", "noisy"))
		}
		return either(c.often(.04, odds{"weak": .80, "bubble": .66, "low": .66, "clogged": .12, "kinked": .15}), "noisy", "running")
	case triage.SignTubes:
		hot := c.between(6, 11)
		return either(r.out-r.in > hot && r.out > warm, "one-hot", either(r.core() > warm, "both-warm", "both-cool"))
	case triage.SignRadiator:
		if r.out-r.in > 15 && r.flow > 1.5 && c.chance(.45) || c.often(.01, odds{"bubble": .35, "low": .35, "fans against": .4, "fan still": .25}) {
			return "uneven"
		}
		felt := r.core()
		if r.flow < 1.5 {
			felt = r.in
		}
		return either(felt > c.between(40, 46), "hot", either(felt > warm, "warm", "cold"))
	case triage.SignFins:
		return either(c.often(.13, odds{"dusty": .96, "covered": .4}), "dusty", "clean")
	case triage.SignFan:
		return either(c.often(0, odds{"fan still": .97}), "stopped", either(c.often(.02, odds{"fan slow": .86}), "slow", "running"))
	case triage.SignDirection:
		return either(c.often(.005, odds{"fan turned": .93}), "in", either(c.often(.005, odds{"fans against": .92}), "against", "out"))
	case triage.SignIntake:
		return either(c.often(.01, odds{"covered": .91, "dusty": .12}), "blocked", either(r.intake > r.room+c.between(3, 5), "warm", "free"))
	case triage.SignLevel:
		return either(c.often(.03, odds{"low": .96, "bubble": .35}), "low", "full")
	case triage.SignScrews:
		return either(c.often(.04, odds{"loose": .90}), "loose", "tight")
	case triage.SignPaste:
		return either(c.often(.03, odds{"dry": .93}), "dry", either(c.often(.03, odds{"film": .93, "loose": .65}), "partial", "good"))
	case triage.SignOnset:
		return c.onset()
	}
	return c.attempt(sign)
}

func (c *circuit) onset() triage.Value {
	n := c.IntN(100)
	cut := map[string][2]int{ // slowly below the first, at once below the second, else after work
		"stopped": {8, 93}, "weak": {58, 94}, "clogged": {88, 94}, "kinked": {4, 28}, "loose": {10, 22}, "dry": {88, 94}, "film": {3, 8},
		"dusty": {93, 98}, "covered": {30, 75}, "fan still": {12, 90}, "fan slow": {52, 88}, "fan turned": {2, 7}, "fans against": {2, 7},
		"bubble": {24, 55}, "low": {74, 90}, "frozen": {10, 68}, "shifted": {16, 50}, "at limit": {7, 40}, "power limit": {7, 52}, "hot room": {38, 94},
		"small": {6, 36}, "sound": {30, 65},
	}[c.forms[c.IntN(len(c.forms))]]
	switch {
	case n < cut[0]:
		return "slowly"
	case n < cut[1]:
		return "at-once"
	}
	return "after-work"
}

// gain is what a repair brings at the die, in K; a clock that comes back counts.
func (c *circuit) gain(after *rig) float64 {
	if c.stuck > 0 {
		return 0
	}
	g := c.now.die[3] - after.die[3]
	if after.power[3] > 1.08*c.now.power[3] {
		g = max(g, 5)
	}
	return g
}

func (c *circuit) attempt(sign triage.Sign) triage.Value {
	either := func(yes bool, a, b triage.Value) triage.Value {
		if yes {
			return a
		}
		return b
	}
	repaired := func(cause triage.Cause, pair *rig) bool {
		if !slices.Contains(c.truth(), cause) {
			return c.chance(.03)
		}
		if pair == nil {
			pair = c.sound
		}
		return c.gain(pair)+c.between(-1.5, 1.5) > 3
	}
	switch sign {
	case triage.SignRetighten:
		if c.is("dry", "film") {
			return either(c.chance(.15), "better", "same")
		}
		return either(repaired(triage.Mount, c.screwed) && !(c.is("loose") && c.chance(.08)), "better", "same")
	case triage.SignSwap:
		return either(repaired(triage.Fan, c.fanned), "better", "same")
	case triage.SignRock:
		return either(c.often(.03, odds{"bubble": .91, "low": .91, "weak": .10, "kinked": .14, "loose": .08}), "changed", "same")
	case triage.SignPinch:
		p := .95
		if c.now.flow < 2 {
			p = .05
		} else if c.now.flow < 8 {
			p = .55
		}
		return either(c.chance(p), "changes", "nothing")
	case triage.SignSpeed:
		return either(c.often(.03, odds{"stopped": .92, "weak": .90, "bubble": .35, "low": .35}), "slow", "steady")
	case triage.SignSecond:
		return either(math.Abs(c.shown(c.now.die[3])-c.now.die[3]+c.between(-2.5, 2.5)) > 5, "differs", "agrees")
	case triage.SignStep:
		return "frozen"
	}
	return triage.Unknown
}
