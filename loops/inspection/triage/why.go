// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// reason is one thing that was seen, and how far it speaks for a cause.
type reason struct {
	text   string
	weight float64 // log of how often the cause shows it against all causes
}

// What must speak how loudly to be named, as a factor of the odds, and how
// many are named.
const (
	loud    = 1.3
	reasons = 3
)

// why says in words what speaks for a cause and what against it.
func (m *model) why(c Cause) string {
	rs := m.reasons(c)
	slices.SortStableFunc(rs, func(a, b reason) int { return cmp.Compare(b.weight, a.weight) })
	var forIt, against []string
	for _, r := range rs {
		if r.weight > math.Log(loud) && len(forIt) < reasons {
			forIt = append(forIt, r.text)
		}
	}
	for _, r := range slices.Backward(rs) {
		if r.weight < -math.Log(loud) && len(against) < reasons-1 {
			against = append(against, r.text)
		}
	}
	switch {
	case len(forIt) == 0 && len(against) == 0:
		return "nothing yet for or against it"
	case len(forIt) == 0:
		return "against it: " + strings.Join(against, "; ")
	case len(against) == 0:
		return "for it: " + strings.Join(forIt, "; ")
	}
	return "for it: " + strings.Join(forIt, "; ") + "; against it: " + strings.Join(against, "; ")
}

// reasons weighs each thing seen for a cause, over the forms of the cause as
// likely as they now are.
func (m *model) reasons(c Cause) []reason {
	var out []reason
	add := func(text string, likelihood func(h *hypothesis) float64) {
		var of, all, share, whole float64
		for i := range m.hyps {
			h := &m.hyps[i]
			// Each form counts by its prior: what was seen is weighed, not
			// weighed twice.
			l := h.prior * likelihood(h)
			all, whole = all+l, whole+h.prior
			for _, f := range h.faults {
				if f.cause == c {
					of, share = of+l, share+h.prior
				}
			}
		}
		if of > 0 && all > 0 {
			out = append(out, reason{text, math.Log(of / share / (all / whole))})
		} else if all > 0 {
			out = append(out, reason{text, -20})
		}
	}
	if m.total != nil {
		where, as := "within", ""
		switch {
		case *m.total > m.band.High:
			where = "above"
		case *m.total < m.band.Low:
			where = "below"
			if c == None {
				as = ", as where the watts are those of a label and not read"
			}
		}
		said := fmt.Sprintf("%.2f K/W from die to room, %s the %.2f to %.2f of its build%s", float64(*m.total), where, float64(m.band.Low), float64(m.band.High), as)
		if *m.total <= 0 {
			said = "the die reads no warmer than the room under load"
		}
		add(said, func(h *hypothesis) float64 { return h.ofTotal })
	}
	if said := m.conditions(); said != "" {
		add(said, func(h *hypothesis) float64 { return h.ofAround })
	}
	if m.known(SignCoolant) {
		add("the coolant's temperatures", func(h *hypothesis) float64 { return h.ofCoolant })
	}
	if m.seen.Fast != nil || m.seen.Slow != nil {
		add(m.stepped(), func(h *hypothesis) float64 { return h.ofParts })
	}
	tubes, radiator := m.value(SignTubes), m.value(SignRadiator)
	if tubes >= 0 || radiator >= 0 {
		var parts []string
		for _, sign := range []Sign{SignTubes, SignRadiator} {
			if m.known(sign) {
				parts = append(parts, spoken(sign, m.seen.Signs[sign]))
			}
		}
		add(strings.Join(parts, ", "), func(h *hypothesis) float64 { return h.touch.chance(tubes, radiator) })
	}
	for i, q := range m.questions {
		at := slices.Index(q.Values, m.seen.Signs[q.Sign])
		if at < 0 || q.Sign == SignTubes || q.Sign == SignRadiator {
			continue
		}
		add(spoken(q.Sign, q.Values[at]), func(h *hypothesis) float64 { return h.rows[i][at] })
	}
	return out
}

// stepped says what a step in power showed.
func (m *model) stepped() string {
	var parts []string
	if m.seen.Fast != nil {
		parts = append(parts, fmt.Sprintf("%.2f K/W inside 10 s", float64(*m.seen.Fast)))
	}
	if m.seen.Slow != nil {
		parts = append(parts, fmt.Sprintf("%.2f K/W after that", float64(*m.seen.Slow)))
	}
	return "a step in power: " + strings.Join(parts, ", ")
}

// conditions names room, watts and die.
func (m *model) conditions() string {
	var parts []string
	if m.seen.Room != nil {
		parts = append(parts, "room "+m.seen.Room.String())
	}
	if m.seen.Power != nil {
		parts = append(parts, m.seen.Power.String())
	}
	if m.seen.Die != nil {
		parts = append(parts, "die "+m.seen.Die.String())
	}
	return strings.Join(parts, ", ")
}

// spoken is a sign and its value in words: "fan direction: against".
func spoken(sign Sign, value Value) string {
	words := strings.NewReplacer("-", " ")
	return words.Replace(string(sign)) + ": " + words.Replace(string(value))
}

func capital(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:]
}
