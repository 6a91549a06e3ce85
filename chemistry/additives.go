// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "strings"

// Metal is a wetted metal. Plating counts, not the metal below it.
type Metal string

// The metals met in cooling loops.
const (
	Copper         Metal = "copper"
	Brass          Metal = "brass"
	Nickel         Metal = "nickel"
	Aluminium      Metal = "aluminium"
	StainlessSteel Metal = "stainless"
	Steel          Metal = "steel" // plain steel and cast iron
	Solder         Metal = "solder"
	Zinc           Metal = "zinc"
)

// Metals returns all metals known here.
func Metals() []Metal { return members[Metal](KindMetal) }

// Inhibitor is a family of corrosion inhibitors. The zero value "" means unknown; [NoInhibitor] means there is none. Colour is
// not a family.
type Inhibitor string

// The inhibitor families that rules and cautions speak of by name.
const (
	NoInhibitor Inhibitor = "none"
	Azole       Inhibitor = "azole" // for copper: BTA, TTA, MBT
	Nitrite     Inhibitor = "nitrite"
	Molybdate   Inhibitor = "molybdate"
	Silicate    Inhibitor = "silicate"
	Phosphate   Inhibitor = "phosphate"
	Borate      Inhibitor = "borate"
	Amine       Inhibitor = "amine"
	OAT         Inhibitor = "oat"     // organic acids
	Sulfite     Inhibitor = "sulfite" // oxygen scavenger, a reducing agent
)

// Inhibitors returns all families known here.
func Inhibitors() []Inhibitor {
	return append([]Inhibitor{NoInhibitor}, members[Inhibitor](KindInhibitor)...)
}

// Name is the family as the trade writes it.
func (i Inhibitor) Name() string { return Family{KindInhibitor, string(i)}.Name() }

// Biocide is a family of biocides. The zero value "" means unknown; [NoBiocide] means there is none.
type Biocide string

// The biocide families.
const (
	NoBiocide       Biocide = "none"
	Isothiazolinone Biocide = "isothiazolinone"
	Glutaraldehyde  Biocide = "glutaraldehyde"
	Bronopol        Biocide = "bronopol"
	Quat            Biocide = "quat"
	CopperBiocide   Biocide = "copper"
	SilverBiocide   Biocide = "silver"
	Oxidiser        Biocide = "oxidising" // chlorine, bromine, peroxide
)

// Biocides returns all families known here.
func Biocides() []Biocide { return append([]Biocide{NoBiocide}, members[Biocide](KindBiocide)...) }

// Name is the family as the trade writes it.
func (b Biocide) Name() string { return Family{KindBiocide, string(b)}.Name() }

// ParseMetal reads a metal by its name or another it goes by, such as cast iron; else an [*InvalidError] that lists them.
func ParseMetal(s string) (Metal, error) {
	m, err := oneOf[Metal]("metal", s, KindMetal)
	if m == "" && err == nil {
		err = notKnown("metal", s, Metals())
	}
	return m, err
}

// ParseInhibitor reads an inhibitor family; empty and "unknown" are unknown. Else an [*InvalidError] that lists them.
func ParseInhibitor(s string) (Inhibitor, error) {
	return orNone("inhibitor", s, KindInhibitor, Inhibitors())
}

// ParseBiocide reads a biocide family; empty and "unknown" are unknown. Else an [*InvalidError] that lists them.
func ParseBiocide(s string) (Biocide, error) { return orNone("biocide", s, KindBiocide, Biocides()) }

// orNone is oneOf for what a liquid may be without.
func orNone[T ~string](field, s string, k Kind, all []T) (T, error) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "unknown":
		return "", nil
	case "none":
		return "none", nil
	}
	v, err := oneOf[T](field, s, k)
	if err != nil {
		return "", notKnown(field, s, all)
	}
	return v, nil
}
