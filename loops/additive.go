// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"
	"strings"

	"fillmark/chemistry"
)

// AdditiveRole tells what an additive is for.
type AdditiveRole string

// The roles of an additive.
const (
	RoleInhibitor AdditiveRole = "inhibitor"
	RoleBiocide   AdditiveRole = "biocide"
)

// AdditiveRoles lists the roles in the order they are told.
func AdditiveRoles() []AdditiveRole { return []AdditiveRole{RoleInhibitor, RoleBiocide} }

// kind is the axis of chemistry's compatibility table that the role is on.
func (r AdditiveRole) kind() chemistry.Kind {
	if r == RoleBiocide {
		return chemistry.KindBiocide
	}
	return chemistry.KindInhibitor
}

// Family reads a family of the role as chemistry spells it; empty where it is
// not known. Else an [*chemistry.InvalidError] that lists them.
func (r AdditiveRole) Family(text string) (string, error) {
	if r == RoleBiocide {
		family, err := chemistry.ParseBiocide(text)
		return string(family), err
	}
	family, err := chemistry.ParseInhibitor(text)
	return string(family), err
}

// Additive is an inhibitor or a biocide as its label describes it.
type Additive struct {
	// Family is as chemistry names it: azole, isothiazolinone, …; "none" where
	// there is none, and empty where nobody knows.
	Family  string `json:"family,omitempty"`
	Product string `json:"product,omitempty"`
	// DoseMLPerL is the label's dose: millilitres of product per litre of coolant.
	DoseMLPerL float64 `json:"dose_ml_per_l,omitempty"`
	// LifeMonths is the life the label declares; zero where it declares none.
	LifeMonths int `json:"life_months,omitempty"`
	// Added is the day it went in; zero reads as the day of the fill.
	Added Day `json:"added,omitzero"`
}

func (a Additive) validate(field string) error {
	var p problems
	p.add(checkText(field+" family", a.Family, 60, false))
	p.add(checkText(field+" product", a.Product, 200, false))
	p.add(inRange(field+" dose", a.DoseMLPerL, 0, 1000, "ml per litre"))
	p.add(inRange(field+" life", float64(a.LifeMonths), 0, 600, "months"))
	if !a.Added.IsZero() {
		p.add(a.Added.validate(field + " added"))
	}
	return p.err()
}

// Dosed is one additive of a charge, and what it is for.
type Dosed struct {
	Role AdditiveRole `json:"role"`
	Additive
}

// maxAdditives is how many one charge can hold: more is a slip.
const maxAdditives = 20

func (d Dosed) validate() error {
	var p problems
	p.add(oneOf("role", d.Role, AdditiveRoles()...))
	p.add(d.Additive.validate(string(d.Role)))
	return p.err()
}

// None tells that there is none of the role, which is known.
func (d Dosed) None() bool { return d.Family == string(chemistry.NoInhibitor) }

// Name is what its label calls it, else its family, else its role.
func (d Dosed) Name() string { return cmp.Or(d.Product, d.FamilyName(), string(d.Role)) }

// FamilyName is the family as the trade writes it; empty where it is not known.
func (d Dosed) FamilyName() string {
	if d.Family == "" {
		return ""
	}
	return chemistry.Family{Kind: d.Role.kind(), ID: d.Family}.Name()
}

// String says it in one phrase: "biocide isothiazolinone (Clear B)".
func (d Dosed) String() string {
	if d.None() {
		return "no " + string(d.Role)
	}
	words := string(d.Role) + " " + cmp.Or(d.FamilyName(), "of a family not known")
	if d.Product != "" {
		words += " (" + d.Product + ")"
	}
	return words
}

// Having returns the additives of one role that are in the charge; a known
// none is not among them.
func (c Charge) Having(role AdditiveRole) []Dosed {
	return slices.DeleteFunc(slices.Clone(c.Additives), func(d Dosed) bool { return d.Role != role || d.None() })
}

// Rivals are the additives of the same role and family under another product's
// name: whether one more takes their place or stands beside them has to be said.
func (c Charge) Rivals(d Dosed) []Dosed {
	var out []Dosed
	for _, x := range c.Having(d.Role) {
		if d.Family != "" && x.Family == d.Family && !x.same(d) {
			out = append(out, x)
		}
	}
	return out
}

// renewed returns the additives after one more. The same one again is renewed:
// the same family, and the same product where both say one. Anything else
// stands beside what is there, since it is in the same liquid.
func renewed(all []Dosed, d Dosed) []Dosed {
	if d.None() && slices.ContainsFunc(all, func(x Dosed) bool { return x.Role == d.Role }) {
		return all
	}
	all = slices.DeleteFunc(slices.Clone(all), func(x Dosed) bool { return x.Role == d.Role && x.None() })
	i := slices.IndexFunc(all, func(x Dosed) bool { return x.same(d) })
	if i < 0 {
		return append(all, d)
	}
	was := all[i]
	all[i] = Dosed{d.Role, Additive{
		Family: d.Family, Product: cmp.Or(d.Product, was.Product), DoseMLPerL: cmp.Or(d.DoseMLPerL, was.DoseMLPerL),
		LifeMonths: cmp.Or(d.LifeMonths, was.LifeMonths), Added: d.Added,
	}}
	return all
}

// same tells that two records are of one additive.
func (d Dosed) same(other Dosed) bool {
	product := d.Product == "" || other.Product == "" || strings.EqualFold(d.Product, other.Product)
	known := d.Family != "" || d.Product != "" && other.Product != ""
	return d.Role == other.Role && d.Family == other.Family && product && known
}

// UnmarshalJSON reads a charge, also as it was written when a charge had one
// inhibitor and one biocide.
func (c *Charge) UnmarshalJSON(text []byte) error {
	type charge Charge // without this method
	var read struct {
		charge
		Inhibitor Additive `json:"inhibitor"`
		Biocide   Additive `json:"biocide"`
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&read); err != nil {
		return err
	}
	*c = Charge(read.charge)
	for _, d := range []Dosed{{RoleInhibitor, read.Inhibitor}, {RoleBiocide, read.Biocide}} {
		if d.Additive != (Additive{}) {
			c.Additives = append(c.Additives, d)
		}
	}
	return nil
}

// contents tells chemistry what was added: the first of each role, and the
// others each for itself.
func contents(all []Dosed) chemistry.Contents {
	var c chemistry.Contents
	for _, d := range all {
		family, err := d.Role.Family(d.Family)
		switch {
		case err == nil && d.Role == RoleInhibitor && c.Inhibitor == "" && family != "":
			c.Inhibitor = chemistry.Inhibitor(family)
		case err == nil && d.Role == RoleBiocide && c.Biocide == "" && family != "":
			c.Biocide = chemistry.Biocide(family)
		default: // a family that chemistry does not know counts as not known
			c.Additives = append(c.Additives, chemistry.Additive{Family: chemistry.Family{Kind: d.Role.kind(), ID: family}, Product: d.Product})
		}
	}
	return c
}
