// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"time"

	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
	"fillmark/loops/sheet"
)

// Summary is what a maker may be shown about loops with a trait, on a day, by
// this workshop.
type Summary struct {
	evidence.Summary
	Day      loops.Day `json:"day"`
	Workshop string    `json:"workshop"`
}

// Summary gathers what is known of loops with a trait for their maker. Photos go
// in where whoever had the machine when they were taken agreed to have them
// shown, or where nobody had it. No charge with the trait is an error that
// matches loops.ErrNotFound.
func (w *Workshop) Summary(at time.Time, trait evidence.Trait) (Summary, error) {
	s := Summary{Day: loops.DayOf(at, w.settings.Zone), Workshop: w.settings.Name}
	var cases []evidence.Case
	var openings []evidence.ShownOpening
	err := w.eachLoop(func(k evidence.Kept) error {
		cases = append(cases, k.Cases()...)
		found := k.Openings()
		if len(found) == 0 {
			return nil
		}
		withheld, err := w.withholdsPhotos(k)
		for _, o := range found {
			openings = append(openings, evidence.ShownOpening{OpeningFile: o, Photos: !withheld[o.Entry]})
		}
		return err
	})
	if err != nil {
		return s, err
	}
	s.Summary, err = evidence.Summarise(cases, openings, trait)
	return s, err
}

// withholdsPhotos are the entries of a history that an owner had part in who did
// not agree to have photos shown.
func (w *Workshop) withholdsPhotos(k evidence.Kept) (map[loops.EntryID]bool, error) {
	owners := map[loops.OwnerID]bool{k.Machine.Owner: true}
	for _, e := range k.History {
		if e.Kind == loops.KindTransfer {
			owners[e.Transfer.From] = true
		}
	}
	delete(owners, 0) // a machine of the workshop
	withheld := map[loops.EntryID]bool{}
	for id := range owners {
		owner, err := w.register.Owner(id)
		if err != nil {
			return nil, err
		}
		for i, held := range loops.HeldBy(id, k.Machine.Owner, k.History) {
			if held && !owner.Consent.Photos {
				withheld[k.History[i].ID] = true
			}
		}
	}
	return withheld, nil
}

// WriteSummary writes the openings of a summary as a table.
func WriteSummary(out io.Writer, s Summary) error {
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
	w := csv.NewWriter(out)
	_ = w.Write([]string{"trait", "origin", "fluid", "months_from", "months_to", "cause", "look", "metals", "photos"}) // Error below
	for _, c := range s.Cases {
		to := ""
		if c.MonthsTo > 0 {
			to = number(c.MonthsTo)
		}
		_ = w.Write([]string{sheet.Defused(s.Trait), string(c.Origin), c.Fluid, number(c.MonthsFrom), to, string(c.Cause), sheet.Defused(c.Look), c.Metals, strconv.Itoa(len(c.Photos))})
	}
	w.Flush()
	return w.Error()
}

// WriteLives writes rows as a file of lives, which fillmark lives reads. Ages
// are in months and written in full.
func WriteLives(out io.Writer, rows []findings.Life) error {
	age := func(v float64) string {
		if math.IsInf(v, 1) {
			return ""
		}
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	w := csv.NewWriter(out)
	_ = w.Write([]string{"lower", "upper", "count", "group", "entry", "cause"}) // Error below
	for _, l := range rows {
		_ = w.Write([]string{age(l.Lower), age(l.Upper), strconv.Itoa(l.Count), sheet.Defused(l.Group), age(l.Entry), l.Cause})
	}
	w.Flush()
	return w.Error()
}
