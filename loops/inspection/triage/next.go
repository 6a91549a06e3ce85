// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"math"
	"slices"
)

// Next is the next thing to do.
type Next struct {
	Do string `json:"do"`
	// Minutes it takes, with walking up to the machine and noting it down.
	Minutes float64 `json:"minutes"`
	// Separates are the two causes that it is to tell apart; empty where
	// nothing is left to ask.
	Separates []Cause `json:"separates"`
	// Asks are the signs that it answers.
	Asks []Sign `json:"asks"`
}

// Step is one thing that can be done.
type Step struct {
	Do      string
	Minutes float64 // common practice
	Asks    []Sign
	// OpenOnly says that a sealed unit has no place for it, SealedOnly that an
	// open loop has a step that shows more.
	OpenOnly, SealedOnly bool
}

// Signs that stand for readings, which have fields of their own in [Seen].
const (
	SignTotal   Sign = "die, room, power"
	SignCoolant Sign = "coolant-in, coolant-out"
)

// Steps is the table of costs. Minutes are common practice, no source, and hold
// three or more of getting there, opening the side and writing it down.
func Steps() []Step {
	return []Step{
		{"look at the fans and fins with a lamp: do they turn, which way does a strip of paper blow, is there dust, is the intake free", 5, []Sign{SignFan, SignDirection, SignFins, SignIntake}, false, false},
		{"feel both tubes and the radiator after some minutes under load", 5, []Sign{SignTubes, SignRadiator}, false, false},
		{"listen to the pump and feel it through a screwdriver, and look at the level", 4, []Sign{SignPump, SignLevel}, true, false},
		{"listen to the pump and feel it through a screwdriver", 4, []Sign{SignPump}, false, true},
		{"turn the pump's control to full and read its speed, then pinch one tube softly with a cloth for 5 seconds: does the note or the die change", 7, []Sign{SignSpeed, SignPinch}, false, false},
		{"ask how it came: slowly, at once, or after work on the machine", 3, []Sign{SignOnset}, false, false},
		{"look at the clock under load", 3, []Sign{SignClock}, false, false},
		{"switch off, retighten the screws crosswise, half a turn each, and read the die again after 2 minutes", 10, []Sign{SignScrews, SignRetighten}, false, false},
		{"rock and tilt the unit with its tubes upwards, listen and read the die again", 6, []Sign{SignRock}, false, false},
		{"swap in a known good fan that blows the right way and read the die again after 5 minutes", 12, []Sign{SignSwap}, false, false},
		{"step the power from idle to load, a second thermometer at the plate's foot: how far does the die rise inside 10 seconds, how far after 10 minutes, do the two agree, and how warm is the coolant before and behind the plate", 13, []Sign{SignStep, SignSecond, SignCoolant}, true, false},
		{"step the power from idle to load, a second thermometer at the plate's foot: how far does the die rise inside 10 seconds, how far after 10 minutes, and do the two agree", 12, []Sign{SignStep, SignSecond}, false, true},
		{"hold a second thermometer to the plate's foot, or read the die against the room after a night off", 8, []Sign{SignSecond}, false, false},
		{"lift the plate and look at the print of the paste (new paste needed)", 20, []Sign{SignPaste, SignScrews}, false, false},
		{"wait for soak: 15 minutes under load, then read die, room and watts", 18, []Sign{SignTotal}, false, false},
		{"read the coolant before and behind the plate under load", 8, []Sign{SignCoolant}, true, false},
	}
}

// known tells whether a sign has an answer.
func (m *model) known(sign Sign) bool {
	switch sign {
	case SignTotal:
		return m.total != nil
	case SignStep:
		if m.seen.Fast != nil || m.seen.Slow != nil {
			return true
		}
	case SignCoolant:
		return m.seen.CoolantIn != nil || m.seen.CoolantOut != nil
	}
	v := m.seen.Signs[sign]
	return v != "" && v != Unknown
}

// next picks the step with the most expected information about all causes a
// minute, and names the two that it tells apart: the first and the one after it
// that the step separates from it best. For the first two alone it would
// sometimes settle which of two wrong causes it is not; in the campaigns that
// cost two right answers in a hundred.
func (m *model) next() Next {
	share := m.shares(m.posterior)
	first := 0
	for i, p := range share {
		if p > share[first] {
			first = i
		}
	}
	best := 0.0
	var next Next
	for _, s := range Steps() {
		asks := slices.DeleteFunc(slices.Clone(s.Asks), m.known)
		if len(asks) == 0 || s.OpenOnly && m.seen.Sealed || s.SealedOnly && !m.seen.Sealed {
			continue
		}
		about, other := m.information(asks, share, first)
		if rate := about / s.Minutes; rate > best {
			best, next = rate, Next{s.Do, s.Minutes, []Cause{Causes()[first], Causes()[other]}, asks}
		}
	}
	if best < leastRate || share[first] > settled {
		done := remedies()[Causes()[first]]
		done.Separates, done.Asks = []Cause{}, []Sign{}
		return done
	}
	return next
}

// leastRate is in bits a minute: what tells less is not worth the walk.
const leastRate = 1e-4

// settled is the probability from which the next thing is the repair.
const settled = .99

// information is what a step tells about all causes in bits, and the cause that
// it tells best from the first.
func (m *model) information(asks []Sign, before *shares, first int) (about float64, other int) {
	outcomes := m.outcomes(asks)
	about = entropy(before, 1)
	var between shares // bits, weighed by how likely it is one of the two
	for c := range between {
		between[c] = binary(before[first], before[c])
	}
	weights := make([]float64, len(m.hyps))
	for o := range outcomes[0] {
		sum := 0.0
		for i := range m.hyps {
			weights[i] = m.posterior[i] * outcomes[i][o]
			sum += weights[i]
		}
		if sum <= 0 {
			continue
		}
		after := m.shares(weights)
		about -= sum * entropy(after, sum)
		for c := range between {
			between[c] -= binary(after[first], after[c])
		}
	}
	for c := range between {
		if c != first && (other == first || between[c] > between[other]) {
			other = c
		}
	}
	return about, other
}

// outcomes is how likely each joint outcome of the asks is, by hypothesis.
func (m *model) outcomes(asks []Sign) [][]float64 {
	out := make([][]float64, len(m.hyps))
	for i := range m.hyps {
		h := &m.hyps[i]
		joint := []float64{1}
		for _, sign := range asks {
			var row []float64
			switch sign {
			case SignTotal:
				up := h.inner.plus(h.outer).above(float64(m.band.High), powerSigma)
				row = []float64{1 - up, up}
			case SignCoolant:
				up := h.outer.above(m.build.outerHigh, powerSigma)
				inner := (1 - up) * h.inner.above(m.build.innerHigh, powerSigma)
				row = []float64{1 - up - inner, inner, up}
			case SignTubes, SignRadiator:
				row = m.felt(h, asks, sign)
			default:
				at := slices.IndexFunc(m.questions, func(q Question) bool { return q.Sign == sign })
				row = h.rows[at]
			}
			next := make([]float64, 0, len(joint)*len(row))
			for _, a := range joint {
				for _, b := range row {
					next = append(next, a*b)
				}
			}
			joint = next
		}
		out[i] = joint
	}
	return out
}

// felt is the row of tubes or radiator, given the other where that is known;
// asked together, the whole table stands with the tubes.
func (m *model) felt(h *hypothesis, asks []Sign, sign Sign) []float64 {
	if len(asks) == 2 {
		if sign == SignRadiator {
			return []float64{1}
		}
		var row []float64
		for tubes := range 3 {
			for radiator := range 4 {
				row = append(row, h.touch.chance(tubes, radiator))
			}
		}
		return row
	}
	tubes, radiator := m.value(SignTubes), m.value(SignRadiator)
	all := h.touch.chance(tubes, radiator)
	var row []float64
	if sign == SignTubes {
		for v := range 3 {
			row = append(row, h.touch.chance(v, radiator)/all)
		}
		return row
	}
	for v := range 4 {
		row = append(row, h.touch.chance(tubes, v)/all)
	}
	return row
}

// value is the index of what a sign shows; -1 where it is not known.
func (m *model) value(sign Sign) int {
	at := slices.IndexFunc(m.questions, func(q Question) bool { return q.Sign == sign })
	return slices.Index(m.questions[at].Values, m.seen.Signs[sign])
}

// entropy is in bits, of shares that add to sum.
func entropy(s *shares, sum float64) float64 {
	h := 0.0
	for _, share := range s {
		if p := share / sum; p > 0 {
			h -= p * math.Log2(p)
		}
	}
	return h
}

// binary is the entropy in bits of which of two it is, times how likely it is
// one of them.
func binary(a, b float64) float64 {
	if a <= 0 || b <= 0 {
		return 0
	}
	p := a / (a + b)
	return (a + b) * (-p*math.Log2(p) - (1-p)*math.Log2(1-p))
}
