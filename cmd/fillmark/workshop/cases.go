// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
)

// keptReader reads what is on record about loops, each machine and lot once.
type keptReader struct {
	w        *Workshop
	machines map[loops.MachineID]loops.Machine
	lots     map[loops.ContainerID]string // nil until something was poured
}

func (w *Workshop) newKeptReader() *keptReader {
	return &keptReader{w: w, machines: map[loops.MachineID]loops.Machine{}}
}

// kept reads one loop's history with all that stands around it.
func (r *keptReader) kept(l loops.Loop) (evidence.Kept, error) {
	k := evidence.Kept{Loop: l}
	var err error
	if l.LastEntry > 0 {
		if k.History, err = r.w.register.History(l.ID); err != nil {
			return k, err
		}
	}
	machine, known := r.machines[l.Machine]
	if !known {
		if machine, err = r.w.register.Machine(l.Machine); err != nil {
			return k, fmt.Errorf("machine %d: %w", l.Machine, err)
		}
		r.machines[l.Machine] = machine
	}
	k.Machine = machine
	poured := func(e loops.Entry) bool { return e.Fill != nil && len(e.Fill.Poured) > 0 }
	if r.lots == nil && slices.ContainsFunc(k.History, poured) {
		shelf, err := gather(r.w.register.Containers())
		if err != nil {
			return k, err
		}
		r.lots = lotsOf(shelf)
	}
	k.Lots = r.lots
	return k, nil
}

// lotsOf are the lots of containers.
func lotsOf(shelf []loops.Container) map[loops.ContainerID]string {
	lots := map[loops.ContainerID]string{}
	for _, c := range shelf {
		lots[c.ID] = c.Lot
	}
	return lots
}

// eachLoop hands every loop on record with its history to a function.
func (w *Workshop) eachLoop(take func(evidence.Kept) error) error {
	reader := w.newKeptReader()
	var some []loops.Loop
	hand := func() error {
		ahead, err := w.aheadOfHistories(some)
		if err != nil {
			return err
		}
		reader.w = w.Through(ahead)
		for _, l := range some {
			k, err := reader.kept(l)
			if err == nil {
				err = take(k)
			}
			if err != nil {
				return err
			}
		}
		some = nil
		return nil
	}
	const together = 256 // loops whose histories are read at once
	for l, err := range w.register.Loops() {
		if err != nil {
			return err
		}
		if some = append(some, l); len(some) == together {
			if err := hand(); err != nil {
				return err
			}
		}
	}
	return hand()
}

// Cases returns the lives of all charges on record.
func (w *Workshop) Cases() ([]evidence.Case, error) {
	cases := []evidence.Case{}
	err := w.eachLoop(func(k evidence.Kept) error {
		cases = append(cases, k.Cases()...)
		return nil
	})
	return cases, err
}

// CaseLines lists the lives of all charges on record with their ages.
func (w *Workshop) CaseLines() ([]evidence.CaseLine, error) {
	cases, err := w.Cases()
	lines := []evidence.CaseLine{}
	for _, c := range cases {
		lines = append(lines, c.Line())
	}
	return lines, err
}

// Pattern answers "pattern or chance?", see [evidence.Pattern].
func (w *Workshop) Pattern(cause loops.Cause, traits ...evidence.Trait) (evidence.PatternAnswer, error) {
	cases, err := w.Cases()
	if err != nil {
		return evidence.PatternAnswer{}, err
	}
	return evidence.Pattern(cases, cause, traits...)
}

// HowLong answers "how long do charges last?", see [evidence.HowLong].
func (w *Workshop) HowLong(by string) ([]evidence.OriginLives, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	return evidence.HowLong(cases, by)
}

// WhenToLook answers "when should I look?", see [evidence.WhenToLook].
func (w *Workshop) WhenToLook(at time.Time) ([]evidence.WhenLook, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	return w.whenToLook(cases, at)
}

func (w *Workshop) whenToLook(cases []evidence.Case, at time.Time) ([]evidence.WhenLook, error) {
	costs := cmp.Or(w.settings.Costs, findings.DefaultCosts())
	return evidence.WhenToLook(cases, w.settings.Policy, costs, loops.DayOf(at, w.settings.Zone))
}

// Asked is what the lives of all charges answer at once: the pattern of a cause, how
// long charges last by a key, and when to look.
type Asked struct {
	Pattern evidence.PatternAnswer
	Lives   []evidence.OriginLives
	Look    []evidence.WhenLook
}

// Questions answers [Workshop.Pattern], [Workshop.HowLong] and [Workshop.WhenToLook]
// from one reading.
func (w *Workshop) Questions(cause loops.Cause, by string, at time.Time) (is Asked, err error) {
	cases, err := w.Cases()
	if err != nil {
		return is, err
	}
	if is.Pattern, err = evidence.Pattern(cases, cause); err != nil {
		return is, err
	}
	if is.Lives, err = evidence.HowLong(cases, by); err != nil {
		return is, err
	}
	is.Look, err = w.whenToLook(cases, at)
	return is, err
}

// TraitsOnRecord lists the values that charges on record have of a key, sorted.
func (w *Workshop) TraitsOnRecord(keys ...string) ([]evidence.Trait, error) {
	cases, err := w.Cases()
	return evidence.TraitsOf(cases, keys...), err
}
