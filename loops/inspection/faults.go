// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Fault is something that can be wrong with a loop.
type Fault string

// The faults that closed loops are diagnosed for.
const (
	PoorMount   Fault = "poor mount"   // dry or missing paste, loose or tilted plate
	NoFlow      Fault = "no flow"      // pump dead, tube kinked, plate blocked
	ReducedFlow Fault = "reduced flow" // clogged plate, kinked tube, weak pump, air
	Dust        Fault = "dust"         // radiator or air path clogged
	FanStopped  Fault = "fan stopped"
)

// Faults lists them in the order they are shown.
func Faults() []Fault { return []Fault{PoorMount, NoFlow, ReducedFlow, Dust, FanStopped} }

// Sign is one thing that was seen, read or felt.
type Sign string

// The signs.
const (
	SignMount    Sign = "mount resistance"
	SignRadiator Sign = "radiator resistance"
	SignRise     Sign = "rise across the plate"
	SignLog      Sign = "temperature log"
	SignTubes    Sign = "tubes by touch"
	SignCore     Sign = "radiator by touch"
	SignPump     Sign = "pump"
	SignFan      Sign = "fan"
	SignFins     Sign = "fins"
)

// Signs lists the signs in the order they are asked for.
func Signs() []Sign {
	return []Sign{SignLog, SignTubes, SignCore, SignFan, SignFins, SignPump, SignMount, SignRadiator, SignRise}
}

// Finding is what a sign showed.
type Finding string

// What signs can show. Same, Up and Down are against the loop's own baseline,
// or against usual figures where there is none.
const (
	Same       Finding = "same"
	Up         Finding = "up"
	FarUp      Finding = "up threefold or more"
	Down       Finding = "down"
	TooSmall   Finding = "too small to measure"
	LogMount   Finding = "jumps at once"
	LogNoFlow  Finding = "only the plate warms"
	LogPresent Finding = "the heat is carried on"
	BothCool   Finding = "both cool"
	OneHot     Finding = "one hot, one cold"
	BothWarm   Finding = "both warm"
	CoreCold   Finding = "cold"
	CoreWarm   Finding = "warm"
	CoreHot    Finding = "hot all over"
	Stopped    Finding = "stopped"
	Running    Finding = "running"
	Erratic    Finding = "erratic or gurgling"
	Clean      Finding = "clean"
	Dusty      Finding = "dusty"
)

// rule is what a sign shows under each fault, and without any.
type rule struct {
	sign     Sign
	weight   float64
	ask      string // how to get the sign
	findings []Finding
	normal   []Finding
	faults   map[Fault][]Finding // a fault that is not listed leaves the sign normal
}

// rules are the table of the trade: makers' fault guides for the tubes, the
// pump and the fan; the model of the log; the resistances by computation.
func rules() []rule {
	return []rule{
		{SignLog, 3, "log the die temperature for 30 s from switching on, a reading every second",
			[]Finding{LogMount, LogNoFlow, LogPresent}, []Finding{LogPresent},
			map[Fault][]Finding{PoorMount: {LogMount}, NoFlow: {LogNoFlow}, ReducedFlow: {LogPresent}}},
		{SignTubes, 2, "feel both tubes after some minutes at idle, without opening anything",
			[]Finding{BothCool, OneHot, BothWarm}, []Finding{BothWarm},
			map[Fault][]Finding{PoorMount: {BothCool, BothWarm}, NoFlow: {OneHot, BothCool}, ReducedFlow: {OneHot, BothWarm}}},
		{SignCore, 1, "feel the radiator with the machine unplugged, the fan standing",
			[]Finding{CoreCold, CoreWarm, CoreHot}, []Finding{CoreWarm},
			map[Fault][]Finding{PoorMount: {CoreCold, CoreWarm}, NoFlow: {CoreCold}, ReducedFlow: {CoreWarm, CoreCold}, Dust: {CoreHot, CoreWarm}, FanStopped: {CoreHot}}},
		{SignFan, 3, "look whether the fan of the radiator turns",
			[]Finding{Running, Stopped}, []Finding{Running}, map[Fault][]Finding{FanStopped: {Stopped}}},
		{SignFins, 2, "look at the fins and the air path with a lamp",
			[]Finding{Clean, Dusty}, []Finding{Clean}, map[Fault][]Finding{Dust: {Dusty}}},
		{SignPump, 1, "listen to the pump and feel its vibration; its speed is not flow",
			[]Finding{Running, Stopped, Erratic}, []Finding{Running},
			map[Fault][]Finding{NoFlow: {Stopped, Erratic, Running}, ReducedFlow: {Erratic, Running}}},
		{SignMount, 2, "read die, coolant and power once the coolant is steady",
			[]Finding{Same, Up, FarUp}, []Finding{Same},
			map[Fault][]Finding{PoorMount: {Up, FarUp}, NoFlow: {FarUp}, ReducedFlow: {Up}}},
		{SignRadiator, 2, "read coolant, room and power once the coolant is steady",
			[]Finding{Down, Same, Up}, []Finding{Same},
			map[Fault][]Finding{NoFlow: {Down}, Dust: {Up}, FanStopped: {Up}}},
		{SignRise, 2, "read the coolant before and behind the plate, at as much power as is safe",
			[]Finding{TooSmall, Same, Up}, []Finding{Same, TooSmall},
			map[Fault][]Finding{NoFlow: {TooSmall}, ReducedFlow: {Up}}},
	}
}

// Seen are the signs observed.
type Seen map[Sign]Finding

// Fit is how well a set of faults explains what was seen.
type Fit struct {
	// Faults are one or two; none says that nothing is wrong.
	Faults []Fault `json:"faults"`
	// Score is the weighted share of the signs that they explain, 0 to 1.
	Score   float64  `json:"score"`
	For     []string `json:"for,omitempty"`     // signs explained
	Against []string `json:"against,omitempty"` // signs not explained
}

// Percent says how well they fit: "80 %".
func (f Fit) Percent() string { return fmt.Sprintf("%.0f %%", 100*f.Score) }

// Name says the faults in words.
func (f Fit) Name() string {
	if len(f.Faults) == 0 {
		return "no fault"
	}
	names := make([]string, len(f.Faults))
	for i, x := range f.Faults {
		names[i] = string(x)
	}
	return strings.Join(names, " and ")
}

// Diagnosis are the faults that fit, the best first.
type Diagnosis struct {
	Fits []Fit `json:"fits"`
	// Clear tells that the best fit stands alone by a clear distance.
	Clear bool `json:"clear"`
	// Next says what to measure next to tell the best fits apart.
	Next []string `json:"next,omitempty"`
	// Cannot says what these signs can never tell.
	Cannot []string `json:"cannot"`
}

// least is the score below which a fit is not worth showing, apart the
// distance at which one stands alone, and more what a second fault must explain
// to be named.
const (
	least = 0.5
	apart = 0.2
	more  = 0.1
)

// Diagnose weighs the signs. Two faults at once are named only where together
// they explain clearly more than either alone. Without any sign it is a
// [Refusal]; a sign or finding that does not exist is a
// [*chemistry.InvalidError].
func Diagnose(seen Seen) (Diagnosis, error) {
	if len(seen) == 0 {
		return Diagnosis{}, Refusal{"diagnosis", "nothing is read or felt yet; begin: " + rules()[0].ask}
	}
	for sign, finding := range seen {
		i := slices.IndexFunc(rules(), func(r rule) bool { return r.sign == sign })
		if i < 0 {
			return Diagnosis{}, invalid("sign", string(sign), fmt.Sprintf("one of %v", Signs()))
		}
		if !slices.Contains(rules()[i].findings, finding) {
			return Diagnosis{}, invalid(string(sign), string(finding), fmt.Sprintf("one of %v", rules()[i].findings))
		}
	}
	single := map[Fault]Fit{}
	fits := []Fit{weigh(seen)}
	for _, f := range Faults() {
		single[f] = weigh(seen, f)
		fits = append(fits, single[f])
	}
	for i, f := range Faults() {
		for _, g := range Faults()[i+1:] {
			if pair := weigh(seen, f, g); pair.Score >= max(single[f].Score, single[g].Score, fits[0].Score)+more {
				fits = append(fits, pair)
			}
		}
	}
	slices.SortStableFunc(fits, func(a, b Fit) int {
		return cmp.Or(cmp.Compare(b.Score, a.Score), cmp.Compare(len(a.Faults), len(b.Faults)))
	})
	d := Diagnosis{Cannot: []string{PumpNote, MountNote}}
	for _, f := range fits {
		if f.Score >= least || len(d.Fits) == 0 {
			d.Fits = append(d.Fits, f)
		}
	}
	d.Clear = len(fits) > 1 && fits[0].Score-fits[1].Score >= apart && fits[0].Score >= least
	d.Next = next(seen, fits)
	return d, nil
}

// weigh scores one set of faults.
func weigh(seen Seen, faults ...Fault) Fit {
	fit := Fit{Faults: faults}
	got, all := 0.0, 0.0
	for _, r := range rules() {
		finding, ok := seen[r.sign]
		if !ok {
			continue
		}
		all += r.weight
		text := string(r.sign) + ": " + string(finding)
		if slices.Contains(r.expected(faults), finding) {
			got += r.weight
			fit.For = append(fit.For, text)
		} else {
			fit.Against = append(fit.Against, text)
		}
	}
	fit.Score = got / all
	return fit
}

// expected returns what a sign can show under all the faults together: what
// any of them brings about, and the normal only where none excludes it.
func (r rule) expected(faults []Fault) []Finding {
	var out []Finding
	normal := true
	for _, f := range faults {
		brought, ok := r.faults[f]
		if !ok {
			continue
		}
		for _, b := range brought {
			if !slices.Contains(r.normal, b) {
				out = append(out, b)
			}
		}
		normal = normal && slices.ContainsFunc(brought, func(b Finding) bool { return slices.Contains(r.normal, b) })
	}
	if normal {
		out = append(out, r.normal...)
	}
	return out
}

// next names the unseen signs on which the best fits differ, the telling ones
// first.
func next(seen Seen, fits []Fit) []string {
	type candidate struct {
		ask    string
		weight float64
	}
	var candidates []candidate
	for _, r := range rules() {
		if _, ok := seen[r.sign]; ok {
			continue
		}
		weight := 0.0
		best := r.expected(fits[0].Faults)
		for _, f := range fits[1:min(4, len(fits))] {
			other := r.expected(f.Faults)
			if !slices.ContainsFunc(best, func(b Finding) bool { return slices.Contains(other, b) }) {
				weight += r.weight // one look at this sign decides
			} else if len(best) != len(other) {
				weight += r.weight / 4
			}
		}
		if weight > 0 {
			candidates = append(candidates, candidate{r.ask, weight})
		}
	}
	slices.SortStableFunc(candidates, func(a, b candidate) int { return cmp.Compare(b.weight, a.weight) })
	var asks []string
	for _, c := range candidates[:min(3, len(candidates))] {
		asks = append(asks, c.ask)
	}
	return asks
}
