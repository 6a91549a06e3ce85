// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"

	"fillmark/loops"
	"fillmark/schedule"
)

// plan makes the plan of a loop at an action's instant. Containers may be all
// there are.
func (w *Workshop) plan(s Stamp, machine loops.Machine, loop loops.Loop, history []loops.Entry, containers []loops.Container) (loops.Plan, error) {
	plan, err := schedule.PlanLoop(schedule.Input{
		Policy: w.settings.Policy, Machine: machine, Loop: loop, History: history, Containers: containers,
	})
	if err != nil {
		return plan, fmt.Errorf("plan loop %s: %w", loop.Tag, err)
	}
	plan.Made = s.At.UTC()
	return plan, nil
}

// containersIn returns the containers that went into a loop, those in poured
// as they are there.
func (w *Workshop) containersIn(loop loops.LoopID, poured []loops.Container) ([]loops.Container, error) {
	isIn := func(c loops.Container) bool {
		return slices.ContainsFunc(c.Uses, func(u loops.Use) bool { return u.Loop == loop })
	}
	in := slices.DeleteFunc(slices.Clone(poured), func(c loops.Container) bool { return !isIn(c) })
	for c, err := range w.register.Containers() {
		if err != nil {
			return nil, err
		}
		renewed := slices.ContainsFunc(poured, func(p loops.Container) bool { return p.ID == c.ID })
		if !renewed && isIn(c) {
			in = append(in, c)
		}
	}
	return in, nil
}

// Replanned is what a pass over all plans did.
type Replanned struct {
	Looked  int `json:"looked"`  // loops looked at
	Renewed int `json:"renewed"` // plans made again
	Moved   int `json:"moved"`   // of these, with other days or reasons than before
}

// Replan brings the plans up to date that were made from another policy than the
// present, so many in one change, from the first loop to the last. It holds nothing between two changes, so that other actions go
// on meanwhile; a loop that somebody writes at the same moment is read again.
// Cancelled, it leaves what it did and can be begun again.
func (w *Workshop) Replan(ctx context.Context, s Stamp, batch int) (Replanned, error) {
	var done Replanned
	containers, err := w.containersByLoop()
	if err != nil {
		return done, fmt.Errorf("replan: %w", err)
	}
	var stale []loops.Loop
	flush := func() error {
		if err := ctx.Err(); err != nil || len(stale) == 0 {
			return err
		}
		err := w.replanBatch(s, stale, containers, &done)
		stale = stale[:0]
		return err
	}
	for loop, err := range w.register.Loops() {
		if err != nil {
			return done, fmt.Errorf("replan: %w", err)
		}
		done.Looked++
		if !w.isStale(loop.Plan) {
			continue
		}
		if stale = append(stale, loop); len(stale) >= max(1, batch) {
			if err := flush(); err != nil {
				return done, fmt.Errorf("replan: %w", err)
			}
		}
	}
	if err := flush(); err != nil {
		return done, fmt.Errorf("replan: %w", err)
	}
	return done, nil
}

// isStale tells whether a plan was made from another policy than is in use. A
// loop that nothing was ever planned for has nothing to bring up to date.
func (w *Workshop) isStale(p loops.Plan) bool {
	return p.PolicyVersion != "" && p.PolicyVersion != w.settings.Policy.Version
}

// replanBatch plans loops again in one change; where somebody else wrote to one
// of them meanwhile all are read again.
func (w *Workshop) replanBatch(s Stamp, batch []loops.Loop, containers map[loops.LoopID][]loops.Container, done *Replanned) error {
	w.acting.Lock()
	defer w.acting.Unlock()
	for attempt := 0; ; attempt++ {
		change := loops.Change{At: s.At, By: s.By, Action: "plans brought up to date"}
		renewed, moved := 0, 0
		for _, was := range batch {
			if attempt > 0 {
				var err error
				if was, err = w.register.Loop(was.ID); err != nil {
					return err
				}
			}
			if !w.isStale(was.Plan) {
				continue
			}
			is, err := w.replanned(s, was, containers[was.ID])
			if err != nil {
				return err
			}
			renewed++
			if !reflect.DeepEqual(was.Plan.Tasks, is.Plan.Tasks) {
				moved++
			}
			change.Loops = append(change.Loops, is)
		}
		err := w.register.Commit(change)
		if errors.Is(err, loops.ErrConflict) && attempt < conflictRetries {
			continue
		}
		if err == nil {
			done.Renewed, done.Moved = done.Renewed+renewed, done.Moved+moved
		}
		return err
	}
}

func (w *Workshop) replanned(s Stamp, loop loops.Loop, containers []loops.Container) (loops.Loop, error) {
	machine, err := w.register.Machine(loop.Machine)
	if err != nil {
		return loop, fmt.Errorf("machine %d: %w", loop.Machine, err)
	}
	history, err := w.register.History(loop.ID)
	if err != nil {
		return loop, err
	}
	loop.Plan, err = w.plan(s, machine, loop, history, containers)
	return loop, err
}

func (w *Workshop) containersByLoop() (map[loops.LoopID][]loops.Container, error) {
	by := map[loops.LoopID][]loops.Container{}
	for c, err := range w.register.Containers() {
		if err != nil {
			return nil, err
		}
		for _, u := range c.Uses {
			if in := by[u.Loop]; len(in) == 0 || in[len(in)-1].ID != c.ID {
				by[u.Loop] = append(in, c)
			}
		}
	}
	return by, nil
}
