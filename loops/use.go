// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"strconv"

	"fillmark/chemistry"
)

// ParseContainer reads a container's number as its label says it.
func ParseContainer(text string) (ContainerID, error) {
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n == 0 {
		return 0, invalid("container", text, "the number on the container's label, such as 3")
	}
	return ContainerID(n), nil
}

// UsesOf tells what a loop took from each container of the shelf, by the
// entries that stand in its history: fills, top-ups and doses that name one.
// A container without uses is not in it.
func UsesOf(loop LoopID, history []Entry) map[ContainerID][]Use {
	uses := map[ContainerID][]Use{}
	use := func(day Day, id ContainerID, volume chemistry.Litre) {
		if id != 0 {
			uses[id] = append(uses[id], Use{Loop: loop, Day: day, Volume: volume})
		}
	}
	for _, e := range Standing(history) {
		switch e.Kind {
		case KindFill:
			for _, pour := range e.Fill.Poured {
				use(e.Day, pour.Container, pour.Volume)
			}
		case KindTopUp:
			for _, pour := range e.TopUp.Poured {
				use(e.Day, pour.Container, pour.Volume)
			}
		case KindDose:
			use(e.Day, e.Dose.Container, e.Dose.Volume)
		}
	}
	return uses
}
