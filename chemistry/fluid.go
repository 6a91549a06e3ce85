// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"strings"

	"fillmark/chemistry/tables"
)

// Fluid is a base liquid. The zero value "" is a fluid that nobody knows: wherever a figure depends on it, it is refused; rules
// and cautions answer for it as for the worst.
type Fluid string

// The fluids there are. Their text is what is typed, stored and printed in JSON.
const (
	EthyleneGlycol  Fluid = "eg"
	PropyleneGlycol Fluid = "pg"
	TreatedWater    Fluid = "water"     // water with additives: inhibitor, biocide
	DeionisedWater  Fluid = "deionised" // without additives, where conductivity matters
)

// Fluids returns all fluids in the order they are listed for people.
func Fluids() []Fluid { return []Fluid{EthyleneGlycol, PropyleneGlycol, TreatedWater, DeionisedWater} }

// ParseFluid reads a fluid as people write it, in any case: eg, "ethylene glycol", MEG; pg, "propylene glycol", MPG; water;
// deionised, DI. Anything else is an [*InvalidError] that lists what is known.
func ParseFluid(s string) (Fluid, error) {
	switch strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(strings.TrimSpace(s))) {
	case "eg", "meg", "ethylene glycol", "ethyleneglycol", "monoethylene glycol", "1,2 ethanediol":
		return EthyleneGlycol, nil
	case "pg", "mpg", "propylene glycol", "propyleneglycol", "monopropylene glycol", "1,2 propanediol":
		return PropyleneGlycol, nil
	case "water", "treated water", "treated", "water with additives":
		return TreatedWater, nil
	case "deionised", "deionized", "deionised water", "deionized water", "di", "di water", "deionised water without additives":
		return DeionisedWater, nil
	}
	return "", &InvalidError{Field: "fluid", Value: s, Reason: knownFluids}
}

const knownFluids = "eg (ethylene glycol), pg (propylene glycol), water (with additives) or deionised"

// Valid reports whether f is one of [Fluids].
func (f Fluid) Valid() bool {
	return f == EthyleneGlycol || f == PropyleneGlycol || f == TreatedWater || f == DeionisedWater
}

// IsGlycol reports whether f is a glycol in water.
func (f Fluid) IsGlycol() bool { return f == EthyleneGlycol || f == PropyleneGlycol }

// Name returns the full name for people, and the text itself for a fluid that is none.
func (f Fluid) Name() string {
	switch f {
	case "":
		return "fluid not known"
	case EthyleneGlycol:
		return "ethylene glycol"
	case PropyleneGlycol:
		return "propylene glycol"
	case TreatedWater:
		return "water with additives"
	case DeionisedWater:
		return "deionised water without additives"
	}
	return Family{KindFluid, string(f)}.Name()
}

// check returns an [*InvalidError] for a fluid that is none.
func (f Fluid) check() error {
	if f.Valid() {
		return nil
	}
	return &InvalidError{Field: "fluid", Value: string(f), Reason: knownFluids}
}

// glycol returns the tables of f, which must be a glycol.
func (f Fluid) glycol() *tables.Glycol {
	if f == EthyleneGlycol {
		return tables.Ethylene()
	}
	return tables.Propylene()
}
