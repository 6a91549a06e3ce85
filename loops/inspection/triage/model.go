// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"slices"

	"fillmark/loops/inspection"
)

// model is what was seen, weighed over all hypotheses: each fault alone, and
// two of different causes.
type model struct {
	seen      Seen
	build     build
	band      Band
	total     *inspection.KelvinPerWatt
	questions []Question
	hyps      []hypothesis
	posterior []float64 // adds to one
}

// hypothesis is one fault or two at once.
type hypothesis struct {
	faults []fault
	at     [2]int // of their causes in [Causes]
	prior  float64
	// Path of the heat under it, given the resistance from die to room.
	inner, fast, slow, outer spread
	// Likelihoods of what was read.
	ofTotal, ofNotice, ofAround, ofCoolant, ofParts float64
	rows                                            [][]float64 // by question
	touch                                           touch
}

// newModel works out the posterior: prior times the likelihood of all that was
// seen.
func newModel(seen Seen) *model {
	b := buildOf(seen)
	m := &model{seen: seen, build: b, band: b.band, questions: Questions()}
	if seen.Die != nil && seen.Room != nil && seen.Power != nil {
		m.total = new(inspection.KelvinPerWatt(float64(seen.Die.Sub(*seen.Room)) / float64(*seen.Power)))
	}
	m.hyps = hypotheses()
	m.posterior = make([]float64, len(m.hyps))
	sum := 0.0
	for i := range m.hyps {
		h := &m.hyps[i]
		h.ofTotal, h.ofAround = m.resistance(h), m.circumstances(h)
		m.path(h)
		m.rows(h)
		h.ofCoolant, h.ofParts = m.coolant(h), m.parts(h)
		m.posterior[i] = h.prior * h.ofTotal * h.ofNotice * h.ofAround * h.ofCoolant * h.ofParts * m.signs(h, seen.Signs)
		sum += m.posterior[i]
	}
	for i := range m.posterior {
		m.posterior[i] /= sum
	}
	return m
}

// bare tells that nothing but die, room and watts is known.
func (m *model) bare() bool {
	s := m.seen
	looked := s.CoolantIn != nil || s.CoolantOut != nil || s.Fast != nil || s.Slow != nil
	for sign := range s.Signs {
		looked = looked || m.known(sign)
	}
	return !looked
}

// impossible tells that the die's reading cannot be true.
func (m *model) impossible() bool {
	return m.total != nil && *m.total < leastTotal || m.seen.Die != nil && *m.seen.Die > hottestDie
}

// hypotheses are the single faults and the pairs.
func hypotheses() []hypothesis {
	all, order := faults(), Causes()
	at := func(f fault) int { return slices.Index(order, f.cause) }
	var out []hypothesis
	for _, f := range all {
		out = append(out, hypothesis{faults: []fault{f}, at: [2]int{at(f)}, prior: f.prior})
	}
	for i, f := range all {
		for _, g := range all[i+1:] {
			if f.cause != g.cause && slices.Contains(pairable(), f.cause) && slices.Contains(pairable(), g.cause) {
				out = append(out, hypothesis{faults: []fault{f, g}, at: [2]int{at(f), at(g)}, prior: twoAtOnce * f.prior * g.prior})
			}
		}
	}
	return out
}

// row is how often a hypothesis shows each value of a question that does not
// hang on temperatures. Of two faults each shows its own signs; only how it
// came is told of one of them.
func (h *hypothesis) row(q Question) []float64 {
	first := h.faults[0].row(q)
	if len(h.faults) == 1 {
		return first
	}
	second := h.faults[1].row(q)
	out := make([]float64, len(first))
	left := 1.0
	for i := range first {
		if q.Sign == SignOnset {
			out[i] = (first[i] + second[i]) / 2
			continue
		}
		if i > 0 {
			out[i] = 1 - (1-first[i])*(1-second[i])
			left -= out[i]
		}
	}
	if q.Sign == SignOnset {
		return out
	}
	out[0] = max(left, .01)
	return normalised(out)
}

func (f fault) row(q Question) []float64 {
	if row, ok := f.signs[q.Sign]; ok {
		return row
	}
	return q.usual
}

func normalised(row []float64) []float64 {
	sum := 0.0
	for _, p := range row {
		sum += p
	}
	for i := range row {
		row[i] /= sum
	}
	return row
}

// causes is how many there are, and shares gives each its part of a whole, in
// the order of [Causes].
const causes = 12

type shares [causes]float64

// shares gives each cause its share of the blame under weights of the
// hypotheses: of two faults each has half.
func (m *model) shares(weights []float64) *shares {
	var out shares
	for i := range m.hyps {
		h := &m.hyps[i]
		if len(h.faults) == 1 {
			out[h.at[0]] += weights[i]
			continue
		}
		out[h.at[0]] += weights[i] / 2
		out[h.at[1]] += weights[i] / 2
	}
	return &out
}

// both is the likeliest pair of causes, where pairs are together likelier
// than any one cause alone.
func (m *model) both() *Two {
	pairs, single := map[[2]Cause]float64{}, map[Cause]float64{}
	for i, h := range m.hyps {
		if len(h.faults) == 2 {
			pairs[[2]Cause{h.faults[0].cause, h.faults[1].cause}] += m.posterior[i]
		} else {
			single[h.faults[0].cause] += m.posterior[i]
		}
	}
	best := Two{}
	for _, a := range pairable() {
		for _, b := range pairable() {
			if p := pairs[[2]Cause{a, b}]; p > best.Probability {
				best = Two{[2]Cause{a, b}, p}
			}
		}
	}
	for _, p := range single {
		if p >= best.Probability {
			return nil
		}
	}
	return &best
}

// what is the likeliest form of a cause.
func (m *model) what(c Cause) string {
	best, what := -1.0, string(c)
	for i, h := range m.hyps {
		for _, f := range h.faults {
			if f.cause == c && m.posterior[i] > best {
				best, what = m.posterior[i], f.what
			}
		}
	}
	return what
}
