// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// TableName names a list that is read and written as CSV (RFC 4180).
type TableName string

// The tables.
const (
	OwnersTable     TableName = "owners"
	MachinesTable   TableName = "machines"
	LoopsTable      TableName = "loops"
	ContainersTable TableName = "containers"
)

// TableNames lists the tables in the order in which they need each other.
func TableNames() []TableName {
	return []TableName{OwnersTable, MachinesTable, LoopsTable, ContainersTable}
}

// column is one column of a table: how a cell is read and written. A column
// without set only says what the register gave the record; it is not imported.
type column[T any] struct {
	name string
	// fields are the names that validation gives to what the column holds.
	fields []string
	set    func(*T, string) error
	get    func(T) string
}

// parsed makes a column of a parser and a printer. An empty cell leaves the
// zero value.
func parsed[T, V any](name string, field string, at func(*T) *V, parse func(string) (V, error), print func(V) string) column[T] {
	return column[T]{
		name: name, fields: []string{field},
		set: func(r *T, cell string) error {
			if cell == "" {
				return nil
			}
			v, err := parse(cell)
			if err == nil {
				*at(r) = v
			}
			return err
		},
		get: func(r T) string { return print(*at(&r)) },
	}
}

// text is a column of words.
func text[T any, V ~string](name, field string, at func(*T) *V) column[T] {
	return parsed(name, field, at, func(s string) (V, error) { return V(s), nil }, func(v V) string { return string(v) })
}

// figure is a column of numbers in a unit that scales what is kept: 1000 for
// litres kept and millilitres written.
func figure[T any, V ~float64](name, field string, scale float64, at func(*T) *V) column[T] {
	return parsed(name, field, at, func(s string) (V, error) { return parseFigure[V](s, scale) },
		func(v V) string {
			if v == 0 {
				return ""
			}
			return printFigure(v, scale)
		})
}

// mayFigure is a figure that may be missing, which zero is not.
func mayFigure[T any, V ~float64](name, field string, scale float64, at func(*T) **V) column[T] {
	return parsed(name, field, at,
		func(s string) (*V, error) {
			v, err := parseFigure[V](s, scale)
			return &v, err
		},
		func(v *V) string {
			if v == nil {
				return ""
			}
			return printFigure(*v, scale)
		})
}

func parseFigure[V ~float64](cell string, scale float64) (V, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		return 0, wrong("", cell, "a plain number; the unit is in the column's name")
	}
	return V(v / scale), nil
}

// printFigure writes a number so that reading it gives the same value.
func printFigure[V ~float64](v V, scale float64) string {
	short := strconv.FormatFloat(float64(v)*scale, 'g', 12, 64)
	if back, err := parseFigure[V](short, scale); err == nil && back == v {
		return short
	}
	return strconv.FormatFloat(float64(v)*scale, 'g', -1, 64)
}

func yesNo[T any](name, field string, at func(*T) *bool) column[T] {
	return parsed(name, field, at, func(s string) (bool, error) {
		switch strings.ToLower(s) {
		case "yes", "true", "1":
			return true, nil
		case "no", "false", "0":
			return false, nil
		}
		return false, wrong("", s, "yes or no")
	}, func(v bool) string {
		if v {
			return "yes"
		}
		return "no"
	})
}

// mayYesNo is a yes or a no that may be missing.
func mayYesNo[T any](name, field string, at func(*T) **bool) column[T] {
	plain := yesNo(name, field, func(b *bool) *bool { return b })
	return parsed(name, field, at, func(s string) (*bool, error) {
		var b bool
		err := plain.set(&b, s)
		return &b, err
	}, func(v *bool) string {
		if v == nil {
			return ""
		}
		return plain.get(*v)
	})
}

func day[T any](name, field string, at func(*T) *loops.Day) column[T] {
	return parsed(name, field, at, loops.ParseDay, loops.Day.String)
}

func number[T any, V ~uint64](name, field string, at func(*T) *V) column[T] {
	return parsed(name, field, at, func(s string) (V, error) {
		n, err := strconv.ParseUint(s, 10, 64)
		if err != nil {
			return 0, wrong("", s, "a number, as the register gave it")
		}
		return V(n), nil
	}, func(v V) string {
		if v == 0 {
			return ""
		}
		return strconv.FormatUint(uint64(v), 10)
	})
}

// given is a column that only the register writes.
func given[T any](name string, get func(T) string) column[T] {
	return column[T]{name: name, get: get}
}

// several is a column of things separated by semicolons.
func several[T, V any](name, field string, at func(*T) *[]V, parse func(string) (V, error), print func(V) string) column[T] {
	return parsed(name, field, at, func(s string) ([]V, error) {
		var all []V
		for part := range strings.SplitSeq(s, ";") {
			v, err := parse(strings.TrimSpace(part))
			if err != nil {
				return nil, err
			}
			all = append(all, v)
		}
		return all, nil
	}, func(all []V) string {
		var parts []string
		for _, v := range all {
			parts = append(parts, print(v))
		}
		return strings.Join(parts, "; ")
	})
}

func ownerColumns() []column[loops.Owner] {
	type o = loops.Owner
	return []column[o]{
		given("number", func(r o) string { return fmt.Sprint(r.ID) }),
		text("name", "name", func(r *o) *string { return &r.Name }),
		text("email", "email", func(r *o) *string { return &r.Email }),
		text("phone", "phone", func(r *o) *string { return &r.Phone }),
		text("zone", "zone", func(r *o) *string { return &r.Zone }),
		text("units", "units", func(r *o) *loops.Units { return &r.Units }),
		text("address", "address", func(r *o) *string { return &r.Address }),
		yesNo("mail_consent", "", func(r *o) *bool { return &r.Consent.Mail }),
		yesNo("opening_consent", "", func(r *o) *bool { return &r.Consent.Opening }),
		yesNo("photo_consent", "", func(r *o) *bool { return &r.Consent.Photos }),
		day("mail_stopped", "mail stopped", func(r *o) *loops.Day { return &r.MailStopped }),
	}
}

func machineColumns() []column[loops.Machine] {
	type m = loops.Machine
	same := func(s string) string { return s }
	return []column[m]{
		given("number", func(r m) string { return fmt.Sprint(r.ID) }),
		number("owner", "owner", func(r *m) *loops.OwnerID { return &r.Owner }),
		text("kind", "kind", func(r *m) *loops.MachineKind { return &r.Kind }),
		text("name", "name", func(r *m) *string { return &r.Name }),
		text("maker", "maker", func(r *m) *string { return &r.Maker }),
		text("model", "model", func(r *m) *string { return &r.Model }),
		several("accessories", "accessories", func(r *m) *[]string { return &r.Accessories }, func(s string) (string, error) { return s, nil }, same),
		yesNo("warranty_asked", "", func(r *m) *bool { return &r.WarrantyAsked }),
		text("warranty_note", "warranty note", func(r *m) *string { return &r.WarrantyNote }),
		day("promised_back", "promised back", func(r *m) *loops.Day { return &r.PromisedBack }),
	}
}

func loopColumns() []column[loops.Loop] {
	type l = loops.Loop
	return []column[l]{
		given("tag", func(r l) string { return string(r.Tag) }),
		number("machine", "machine", func(r *l) *loops.MachineID { return &r.Machine }),
		text("name", "loop name", func(r *l) *string { return &r.Name }),
		yesNo("sealed", "", func(r *l) *bool { return &r.Sealed }),
		figure("holds_ml", "volume", 1000, func(r *l) *chemistry.Litre { return &r.Volume }),
		figure("holds_uncertainty_ml", "volume uncertainty", 1000, func(r *l) *chemistry.Litre { return &r.VolumeUncertainty }),
		several("wetted", "wetted", func(r *l) *[]loops.WettedPart { return &r.Wetted }, ParseWettedPart, printWettedPart),
		text("tubing", "tubing", func(r *l) *string { return &r.Tubing.Material }),
		figure("bore_mm", "bore", 1, func(r *l) *float64 { return &r.Tubing.BoreMM }),
		figure("outer_mm", "outer diameter", 1, func(r *l) *float64 { return &r.Tubing.OuterMM }),
		figure("tube_length_mm", "tube length", 1, func(r *l) *float64 { return &r.Tubing.LengthMM }),
		text("pump_place", "pump place", func(r *l) *string { return &r.PumpPlace }),
		text("mounting", "mounting", func(r *l) *string { return &r.Mounting }),
		figure("radiator_size_mm", "radiator size", 1, func(r *l) *float64 { return &r.RadiatorSizeMM }),
		mayFigure("coldest_wall_c", "coldest wall", 1, func(r *l) **chemistry.Celsius { return &r.ColdestWall }),
		mayFigure("set_point_c", "set point", 1, func(r *l) **chemistry.Celsius { return &r.SetPoint }),
		mayFigure("evaporator_margin_k", "evaporator margin", 1, func(r *l) **chemistry.CelsiusDelta { return &r.EvaporatorMargin }),
		mayFigure("hottest_c", "hottest coolant", 1, func(r *l) **chemistry.Celsius { return &r.Hottest }),
		yesNo("nothing_can_freeze", "", func(r *l) *bool { return &r.NoFrost }),
		mayYesNo("animals_or_children_reach", "", func(r *l) **bool { return &r.Reach }),
	}
}

func containerColumns() []column[loops.Container] {
	type c = loops.Container
	return []column[c]{
		given("number", func(r c) string { return fmt.Sprint(r.ID) }),
		text("kind", "kind", func(r *c) *loops.ContainerKind { return &r.Kind }),
		text("product", "product", func(r *c) *string { return &r.Product }),
		text("lot", "lot", func(r *c) *string { return &r.Lot }),
		text("fluid", "fluid", func(r *c) *chemistry.Fluid { return &r.Fluid }),
		mayFigure("mass_percent", "strength", 100, func(r *c) **chemistry.MassFraction { return &r.Mass }),
		figure("mass_uncertainty_percent", "strength uncertainty", 100, func(r *c) *chemistry.MassFraction { return &r.MassUncertainty }),
		day("mixed", "mixed", func(r *c) *loops.Day { return &r.Mixed }),
		day("opened", "opened", func(r *c) *loops.Day { return &r.Opened }),
		day("expires", "expires", func(r *c) *loops.Day { return &r.Expires }),
		figure("left_ml", "left", 1000, func(r *c) *chemistry.Litre { return &r.Left }),
		text("note", "note", func(r *c) *string { return &r.Note }),
	}
}

// ParseWettedPart reads "cold plate:copper" or "cold plate:copper/nickel", the
// plating behind the slash.
func ParseWettedPart(s string) (loops.WettedPart, error) {
	part, metals, ok := strings.Cut(s, ":")
	if !ok {
		return loops.WettedPart{}, wrong("wetted", s, `part:metal or part:metal/plating, such as "cold plate:copper/nickel"`)
	}
	base, plating, plated := strings.Cut(metals, "/")
	wetted := loops.WettedPart{Part: strings.TrimSpace(part)}
	var err error
	if wetted.Metal, err = chemistry.ParseMetal(base); err != nil {
		return wetted, err
	}
	if plated {
		wetted.Plating, err = chemistry.ParseMetal(plating)
	}
	return wetted, err
}

func printWettedPart(w loops.WettedPart) string {
	if w.Plating == "" {
		return w.Part + ":" + string(w.Metal)
	}
	return w.Part + ":" + string(w.Metal) + "/" + string(w.Plating)
}
