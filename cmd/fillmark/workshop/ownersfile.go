// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fillmark/loops"
	"fillmark/schedule"
)

// OwnersFile is what the owner of a machine may see of a loop in it. Pages,
// letters, sheets and labels are made from it and never from a [File], which
// holds what former owners said. What is folded and planned says nothing of
// them: a transfer sees to that.
type OwnersFile struct {
	Loop       loops.Loop
	Machine    loops.Machine
	Owner      loops.Owner
	View       loops.OwnersView
	Protection *loops.Protection  // nil where the charge or its strength is not known
	Readings   *schedule.Readings // nil where no temperature was read
}

// ForOwner is the file as the present owner may see it.
func (f File) ForOwner() OwnersFile {
	return OwnersFile{
		Loop: f.Loop, Machine: f.Machine, Owner: f.Owner, View: loops.ViewFor(f.Owner.ID, f.Owner.ID, f.History),
		Protection: f.Protection, Readings: f.Readings,
	}
}

// OwnersFiles reads what the owner may see of all their loops.
func (w *Workshop) OwnersFiles(owner loops.OwnerID) ([]OwnersFile, error) {
	files, err := w.filesOf(owner)
	return forOwner(files), err
}

func forOwner(files []File) []OwnersFile {
	var seen []OwnersFile
	for _, f := range files {
		seen = append(seen, f.ForOwner())
	}
	return seen
}
