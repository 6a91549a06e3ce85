// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "slices"

// unknownLiquid is what is said of a liquid of which nothing is known, and nothing else is, until something is. Common practice, no
// source.
var unknownLiquid = [5]string{
	"treat it as poisonous and as burnable",
	"gloves and eye protection; no bare hands",
	"no flame, no spark, no heat gun, no mains near it; fresh air",
	"keep it from children and animals, closed and labelled",
	"measure it with two instruments, or drain it first, and put nothing into it before",
}

// unknownSubstance names it among cautions.
const unknownSubstance = "unknown coolant"

// Fixed is the block of lines that stands for the text of the caution; empty for all but the unknown liquid's.
func (c Caution) Fixed() []string {
	if c.Substance != unknownSubstance {
		return nil
	}
	return append(UnknownLiquid(), Deferral)
}

// UnknownLiquid returns the five lines about a liquid that nobody knows.
func UnknownLiquid() []string { return slices.Clone(unknownLiquid[:]) }
