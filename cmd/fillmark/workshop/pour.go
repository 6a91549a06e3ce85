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
