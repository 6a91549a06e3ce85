// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// gapsBeforehand are the gaps below the fill mark that a top-up is judged for
// before anybody asks.
func gapsBeforehand() []chemistry.Litre { return []chemistry.Litre{0.020, 0.040, 0.060} }

// mostBeforehand bounds the liquids that are judged beforehand: each costs a
// check a gap whenever a job sheet is shown.
const mostBeforehand = 12

// topUpsBeforehand is what the top-up check would say of the loop of a job
// sheet as it is on record now: a phone that has no connection shows it, and
// judges nothing itself.
type topUpsBeforehand struct {
	Gaps    []chemistry.Litre
	Liquids []liquidBeforehand
	// More is how many liquids of the shelf there was no room for.
	More int
}

// liquidBeforehand is one liquid at hand: an answer a gap, what speaks against
// it, and what is done after it is poured.
type liquidBeforehand struct {
	Name    string
	Cells   []cellBeforehand
	Reasons []reasonBeforehand
	Then    []string
}

// cellBeforehand is the verdict on one liquid in one gap, and how much.
type cellBeforehand struct {
	Verdict chemistry.Verdict // unknown where something is missing
	Amounts []workshop.Step
}

// reasonBeforehand is a reason and the gaps that it holds for.
type reasonBeforehand struct {
	chemistry.Reason
	Gaps []string
}

// topUpsBeforehand judges what is at hand; nil where nothing is in the loop.
func (s *server) topUpsBeforehand(file workshop.File) (*topUpsBeforehand, error) {
	charge := file.Loop.State.Charge
	if charge == nil {
		return nil, nil
	}
	hand, err := s.handBeforehand(file)
	if err != nil {
		return nil, err
	}
	all := topUpsBeforehand{Gaps: gapsBeforehand(), More: max(0, len(hand)-mostBeforehand)}
	since := loops.SinceFillOf(file.History)
	for _, h := range hand[:min(len(hand), mostBeforehand)] {
		liquid := liquidBeforehand{Name: h.Name}
		for _, gap := range all.Gaps {
			answer, err := workshop.TopUpQuestion{Room: &gap, Hand: []workshop.Hand{h}}.CheckOf(file.Loop, since)
			liquid.add(gap, answer, err)
		}
		all.Liquids = append(all.Liquids, liquid)
	}
	return &all, nil
}

// handBeforehand is dilution water, then what is on the shelf: what is like the
// charge first.
func (s *server) handBeforehand(file workshop.File) ([]workshop.Hand, error) {
	water, err := chemistry.ParseLiquid("water", "")
	if err != nil {
		return nil, err
	}
	shelf, err := s.shelfOf(&file)
	if err != nil {
		return nil, err
	}
	var alike, others []workshop.Hand
	for _, c := range shelf {
		h, ok := workshop.AtHand(c)
		switch {
		case !ok || c.Left <= 0:
		case c.Fluid == file.Loop.State.Charge.Fluid:
			alike = append(alike, h)
		default:
			others = append(others, h)
		}
	}
	return slices.Concat([]workshop.Hand{{Liquid: water}}, alike, others), nil
}

// add takes in the answer for a gap. What cannot be judged is not known, and
// what is missing is its reason.
func (l *liquidBeforehand) add(gap chemistry.Litre, answer workshop.TopUpAnswer, err error) {
	if err != nil {
		right := strings.TrimSpace(err.Error())
		if problems := problemsOf(err); len(problems) > 0 {
			right = problems[0].Field + ": " + problems[0].Right
		}
		answer = workshop.TopUpAnswer{Verdict: notKnown, Reasons: []chemistry.Reason{{Verdict: notKnown, Text: right}}}
	}
	cell := cellBeforehand{Verdict: answer.Verdict}
	for _, step := range answer.Steps {
		says := strings.TrimSpace(step.Do + " " + step.What)
		switch {
		case step.VolumeML != 0 || step.MassG != 0:
			cell.Amounts = append(cell.Amounts, step)
		case !slices.Contains(l.Then, says):
			l.Then = append(l.Then, says)
		}
	}
	l.Cells = append(l.Cells, cell)
	for _, r := range answer.Reasons {
		if r.Verdict == chemistry.Go { // a note: the check itself has it
			continue
		}
		i := slices.IndexFunc(l.Reasons, func(x reasonBeforehand) bool { return x.Text == r.Text })
		if i < 0 {
			i = len(l.Reasons)
			l.Reasons = append(l.Reasons, reasonBeforehand{Reason: r})
		}
		l.Reasons[i].Gaps = append(l.Reasons[i].Gaps, fmt.Sprintf("%.0f", gap.Millilitres()))
	}
}

// Where says for which gaps a reason holds; empty for all of them.
func (r reasonBeforehand) Where() string {
	if len(r.Gaps) == len(gapsBeforehand()) {
		return ""
	}
	return strings.Join(r.Gaps, ", ") + "\u00a0ml"
}
