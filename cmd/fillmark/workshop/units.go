// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"strconv"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// Units are donor units of one model that come in together, on one sheet.
type Units struct {
	// Maker may stand before the model instead.
	Maker, Model string
	Each         []Unit
	// Fill is what the factory filled in, the same in all of them; nil where
	// nobody knows when that was.
	Fill *acts.Fill
	// Key was made once for the sheet, so that sending it again records it once.
	Key string
}

// Unit is one of them.
type Unit struct {
	Mark string // its own, as its lid or its bag has it
	From string // where it comes from; may be empty
}

// MostUnits is how many one sheet takes: five sheets of labels.
const MostUnits = 45

// ReadUnits reads a sheet's lines, each the unit's mark and, behind a comma, where
// it comes from; and how many units there are, empty for as many as lines. Units
// without a line are marked by their number.
func ReadUnits(count, lines string) ([]Unit, error) {
	var all []Unit
	marks := map[string]bool{}
	for line := range strings.Lines(lines) {
		mark, from, _ := strings.Cut(line, ",")
		u := Unit{strings.TrimSpace(mark), strings.TrimSpace(from)}
		if u == (Unit{}) {
			continue
		}
		if u.Mark == "" {
			u.Mark = strconv.Itoa(len(all) + 1)
		}
		if marks[strings.ToLower(u.Mark)] {
			return nil, wrong("units", u.Mark, "a mark that no other line has")
		}
		marks[strings.ToLower(u.Mark)] = true
		all = append(all, u)
	}
	n := len(all)
	if count != "" {
		var err error
		if n, err = strconv.Atoi(count); err != nil || n < 1 || n > MostUnits {
			return nil, wrong("count", count, fmt.Sprintf("how many units there are, 1 to %d", MostUnits))
		}
		if n < len(all) {
			return nil, wrong("count", count, fmt.Sprintf("as many as there are lines: %d", len(all)))
		}
	}
	if n == 0 {
		return nil, wrong("count", count, "how many units there are, or a line for each")
	}
	if n > MostUnits {
		return nil, wrong("units", fmt.Sprint(n, " lines"), fmt.Sprintf("at most %d units on a sheet", MostUnits))
	}
	for i := len(all); i < n; i++ {
		u := Unit{Mark: strconv.Itoa(i + 1)}
		if marks[u.Mark] {
			return nil, wrong("units", u.Mark, "a line for each unit: the numbers of the others would repeat this mark")
		}
		all = append(all, u)
	}
	return all, nil
}

// TakeInUnits puts every unit of a sheet on record as a machine of its own, or
// none of them. The same sheet sent again gives the first answer.
func (w *Workshop) TakeInUnits(s Stamp, u Units) ([]loops.Loop, error) {
	if strings.TrimSpace(u.Model) == "" {
		return nil, wrong("model", u.Model, "the model of the units, as their plates have it")
	}
	if u.Key != "" {
		// Unit by unit the same sheet is found; one unit more would be found as well.
		if e, err := w.register.EntryByKey(u.key(len(u.Each))); err == nil && e.ID != 0 {
			return nil, fmt.Errorf("the key %q belongs to a sheet with more units: %w", u.Key, loops.ErrRepeated)
		}
	}
	var all []Registration
	for n, unit := range u.Each {
		r := Registration{
			Machine: loops.Machine{Kind: loops.DonorUnit, Maker: u.Maker, Model: u.Model, Name: u.Model + ", " + unit.Mark},
			Loop:    Unseen(),
		}
		if u.Fill != nil {
			fill := *u.Fill
			r.Acts = append(r.Acts, &fill)
		}
		intake := &acts.Intake{}
		if unit.From != "" {
			intake.Note = "comes from " + unit.From
		}
		r.Acts = append(r.Acts, intake)
		if u.Key != "" {
			r.Key = u.key(n)
		}
		all = append(all, r)
	}
	return w.registerAll(s, all)
}

// key is that of the unit with the number, counted from zero.
func (u Units) key(n int) string { return fmt.Sprintf("%s-unit-%d", u.Key, n+1) }
