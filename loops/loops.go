// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package loops holds every record Fillmark keeps: owners, machines, loops,
// their dated history, the charge folded from it, the plan, messages to owners
// and the one [Change] by which all of these are written.
//
// Main types: [Owner], [Machine], [Loop], [Entry], [State], [Plan], [Message],
// [Change]. Quantities are those of package chemistry (°C, litres, kilograms,
// fractions from 0 to 1 by mass); days are civil [Day] values without a zone;
// instants are [time.Time] in UTC. JSON names carry the unit.
//
// Records are plain values; nothing here does I/O or reads a clock, and all
// functions are safe for concurrent use. Callers may match [ErrNotFound],
// [ErrConflict] and [*InvalidError].
package loops

// OwnerID identifies an owner. Zero is no owner.
type OwnerID uint64

// MachineID identifies a machine. Zero is no machine.
type MachineID uint64

// LoopID identifies a loop. Zero is no loop.
type LoopID uint64

// EntryID numbers the entries of one loop's history from 1 in recorded order.
// Zero is an entry that has not been recorded yet.
type EntryID uint64
