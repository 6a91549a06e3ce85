// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// StoreRevision tells states of a store apart: two that are equal stand for
// the same records. The numbers mean nothing else.
type StoreRevision struct {
	Write, Audit uint64
}

// Touched is which records were written between two states of a store. What is
// indexed or told of a record counts as the record's own: a reminder that was
// noted for a loop touches the loop.
type Touched struct {
	Owners   map[OwnerID]bool
	Machines map[MachineID]bool
	Loops    map[LoopID]bool
	Messages map[MessageKey]bool
}
