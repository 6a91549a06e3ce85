// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// Belongings are records that belong together, as they stood at one moment.
type Belongings struct {
	Owner    Owner     // zero for nobody, whose machines are donor units
	Machines []Machine // by id
	Loops    []Loop    // by machine and id
	// Histories are by loop, each in the order in which it was recorded; nil where
	// they were not asked for, and so is Shelf.
	Histories map[LoopID][]Entry
	Shelf     []Container
}
