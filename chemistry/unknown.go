// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"slices"
	"strings"
)

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

// unknownForOwner are the same five in an owner's words, and what to do where some was swallowed.
var unknownForOwner = [5]string{
	"We do not know what is in this loop, so treat it as poisonous and as burnable. If anyone or any animal swallowed some, call the poison centre or the vet at once, even without symptoms; do not make them vomit.",
	"Touch a drip with gloves only.",
	"No flame or spark near it.",
	"Keep children and animals away.",
	"Put nothing into it before we have measured or drained it.",
}

// ForOwner is the caution in an owner's words, each line a string of its own and without [Deferral]; nil where the owner never meets it.
func (c Caution) ForOwner() []string {
	if c.Substance == unknownSubstance {
		return slices.Clone(unknownForOwner[:])
	}
	if text := strings.TrimSpace(strings.TrimSuffix(c.OwnerText, Deferral)); text != "" {
		return []string{text}
	}
	return nil
}

// UnknownLiquid returns the five lines about a liquid that nobody knows.
func UnknownLiquid() []string { return slices.Clone(unknownLiquid[:]) }
