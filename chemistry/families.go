// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"slices"
	"strings"

	"fillmark/chemistry/tables"
)

// Kind is one axis of the compatibility table.
type Kind string

// The axes. How many families each has stands in chemistry/tables/families.csv.
const (
	KindAgent     Kind = "agent"
	KindBiocide   Kind = "biocide"
	KindInhibitor Kind = "inhibitor"
	KindMetal     Kind = "metal"
	KindSeal      Kind = "seal"
	KindPlastic   Kind = "plastic"
	KindFluid     Kind = "fluid"
)

// Kinds returns the axes in the order they are listed for people.
func Kinds() []Kind {
	return []Kind{KindAgent, KindBiocide, KindInhibitor, KindMetal, KindSeal, KindPlastic, KindFluid}
}

// Family is one kind of substance or material. A product maps to a family.
type Family struct {
	Kind Kind
	ID   string
}

// Families returns all families of a kind, in the table's order.
func Families(k Kind) []Family {
	var out []Family
	for _, f := range tables.All().Families {
		if f.Kind == string(k) {
			out = append(out, Family{k, f.ID})
		}
	}
	return out
}

// Name is the family as the trade writes it, and the id itself for a family that is none.
func (f Family) Name() string {
	for _, row := range tables.All().Families {
		if row.Kind == string(f.Kind) && row.ID == f.ID {
			return row.Name
		}
	}
	return f.ID
}

func (f Family) key() string { return string(f.Kind) + ":" + f.ID }

// label is the family in a rule's id. A biocide says what it is, so that the metal copper is not the biocide.
func (f Family) label() string {
	if f.Kind == KindBiocide {
		return f.ID + "-biocide"
	}
	return f.ID
}

// Material is a seal or a plastic that the liquid wets. [NoMaterial] says that there is none; a list without any says nothing.
type Material string

// NoMaterial is said of a bare part.
const NoMaterial Material = "none"

// Materials returns all seals and plastics known here.
func Materials() []Material {
	return append(members[Material](KindSeal), members[Material](KindPlastic)...)
}

// Family returns the material's family; an unknown material counts as a plastic that no table knows.
func (m Material) Family() Family {
	if slices.Contains(members[Material](KindSeal), m) {
		return Family{KindSeal, string(m)}
	}
	return Family{KindPlastic, string(m)}
}

// Name is the material as the trade writes it.
func (m Material) Name() string { return m.Family().Name() }

// ParseMaterial reads a seal or a plastic, or none; else an [*InvalidError] that lists them.
func ParseMaterial(s string) (Material, error) {
	if strings.EqualFold(strings.TrimSpace(s), string(NoMaterial)) {
		return NoMaterial, nil
	}
	m, err := oneOf[Material]("material", s, KindSeal)
	if err != nil || m == "" {
		m, err = oneOf[Material]("material", s, KindPlastic)
	}
	if err != nil || m == "" {
		return "", notKnown("material", s, Materials())
	}
	return m, nil
}

// members returns the ids of a kind as the type they are spoken of.
func members[T ~string](k Kind) []T {
	var out []T
	for _, f := range Families(k) {
		out = append(out, T(f.ID))
	}
	return out
}

// oneOf finds s among the families of a kind by id or another name of it, in any case. Empty text is the zero value.
func oneOf[T ~string](field, s string, k Kind) (T, error) {
	v := strings.ToLower(strings.TrimSpace(s))
	if v == "" {
		return "", nil
	}
	for _, f := range tables.All().Families {
		if f.Kind == string(k) && (f.ID == v || slices.Contains(f.Also, v)) {
			return T(f.ID), nil
		}
	}
	return "", notKnown(field, s, members[T](k))
}

func notKnown[T ~string](field, s string, list []T) error {
	names := make([]string, len(list))
	for i, n := range list {
		names[i] = string(n)
	}
	return &InvalidError{Field: field, Value: s, Reason: "one of " + strings.Join(names, ", ")}
}
