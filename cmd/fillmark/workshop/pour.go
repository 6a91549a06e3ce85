// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// fromShelf completes an entry from the containers that it names: a pour
// without a liquid gets the container's, and a fill without a product the
// product and lot of its first container.
func (w *Workshop) fromShelf(e loops.Entry) (loops.Entry, error) {
	var pours []loops.Pour
	switch {
	case e.Kind == loops.KindFill && e.Fill != nil:
		pours = e.Fill.Poured
	case e.Kind == loops.KindTopUp && e.TopUp != nil:
		pours = e.TopUp.Poured
	}
	pours = slices.Clone(pours)
	var first *loops.Container
	for i, pour := range pours {
		if pour.Container == 0 {
			continue
		}
		container, err := w.Container(pour.Container)
		if err != nil {
			return e, err
		}
		if first == nil {
			first = &container
		}
		if pour.Liquid != "" {
			continue
		}
		if container.Mass == nil && container.Fluid.IsGlycol() {
			return e, wrong("container", fmt.Sprint(pour.Container), fmt.Sprintf("a container whose strength is known; fillmark shelf edit %d --mass records it", pour.Container))
		}
		if container.Fluid == "" {
			return e, wrong("container", fmt.Sprint(pour.Container), "a container with a coolant or water; additives are recorded by fillmark loop dose")
		}
		pours[i].Liquid, pours[i].Fluid = container.Product, container.Fluid
		if container.Mass != nil {
			pours[i].Mass = *container.Mass
		}
	}
	switch {
	case e.Kind == loops.KindFill && e.Fill != nil:
		fill := *e.Fill
		fill.Poured = pours
		if first != nil && fill.Charge.Product == "" && fill.Charge.Lot == "" {
			fill.Charge.Product, fill.Charge.Lot = first.Product, first.Lot
		}
		e.Fill = &fill
	case e.Kind == loops.KindTopUp && e.TopUp != nil:
		topUp := *e.TopUp
		topUp.Poured = pours
		e.TopUp = &topUp
	}
	return e, nil
}

// poured returns what new entries of a loop do to the shelf: each container's
// uses by the loop become what the history then says, so that a correction
// gives back what a struck entry took.
func (w *Workshop) poured(loop loops.LoopID, was, is []loops.Entry) (changed []loops.Container, warnings []string, err error) {
	before, after := loops.UsesOf(loop, was), loops.UsesOf(loop, is)
	ids := map[loops.ContainerID]bool{}
	for id := range before {
		ids[id] = true
	}
	for id := range after {
		ids[id] = true
	}
	for _, id := range slices.Sorted(maps.Keys(ids)) {
		if slices.Equal(before[id], after[id]) {
			continue
		}
		container, err := w.Container(id)
		if err != nil {
			return nil, nil, err
		}
		container, warning, err := takeFrom(container, loop, before[id], after[id])
		if err != nil {
			return nil, nil, err
		}
		if warning != "" {
			warnings = append(warnings, warning)
		}
		changed = append(changed, container)
	}
	return changed, warnings, nil
}

// rounding is what sums of volumes may be off by.
const rounding = chemistry.Litre(1e-9)

func pouredVolume(pours []loops.Pour) chemistry.Litre {
	var sum chemistry.Litre
	for _, p := range pours {
		sum += p.Volume
	}
	return sum
}

// takeFrom replaces a loop's uses of a container and moves what is left by
// the difference.
func takeFrom(c loops.Container, loop loops.LoopID, before, after []loops.Use) (loops.Container, string, error) {
	taken := volumeOf(after) - volumeOf(before)
	if taken > c.Left+rounding {
		return c, "", wrong("container", fmt.Sprint(c.ID), fmt.Sprintf("one that holds %s; %s is left in it", taken, c.Left))
	}
	c.Left = max(0, c.Left-taken)
	c.Uses = slices.DeleteFunc(slices.Clone(c.Uses), func(u loops.Use) bool { return u.Loop == loop })
	c.Uses = append(c.Uses, after...)
	slices.SortStableFunc(c.Uses, func(a, b loops.Use) int {
		return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Loop, b.Loop))
	})
	if taken <= 0 {
		return c, "", nil
	}
	if c.Opened.IsZero() {
		c.Opened = after[0].Day
	}
	if !c.Expires.IsZero() && after[len(after)-1].Day.After(c.Expires) {
		return c, fmt.Sprintf("container %d (%s) expired on %s.", c.ID, c.Product, c.Expires.Long()), nil
	}
	return c, "", nil
}

func volumeOf(uses []loops.Use) chemistry.Litre {
	var sum chemistry.Litre
	for _, u := range uses {
		sum += u.Volume
	}
	return sum
}
