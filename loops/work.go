// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "fmt"

// Price is an amount of money in hundredths of the workshop's currency, which
// the workshop knows and the register does not.
type Price int64

// String is the amount with its hundredths: "12.50".
func (p Price) String() string { return fmt.Sprintf("%d.%02d", p/100, p%100) }

// MostPrice is the highest price of a line: more is a slip of the finger.
const MostPrice Price = 100_000_00

// Work is a line of the bill: a part that was fitted, work that was done, or what
// either costs.
type Work struct {
	Item string `json:"item"`
	// Pieces of the part, 0 for what is none; Minutes of work.
	Pieces  int `json:"pieces,omitempty"`
	Minutes int `json:"minutes,omitempty"`
	// Price is that of the whole line; nil where none is said yet.
	Price *Price `json:"price_hundredths,omitempty"`
	// Covered tells that the workshop stands for it by its own warranty: it is not
	// charged.
	Covered bool `json:"covered,omitempty"`
}

func (x *Work) validate() error {
	var p problems
	p.add(requireText("item", x.Item, 200))
	p.add(inRange("pieces", float64(x.Pieces), 0, 1000, "pieces"))
	p.add(inRange("minutes", float64(x.Minutes), 0, 10_000, "minutes"))
	if x.Price != nil && (*x.Price < 0 || *x.Price > MostPrice) {
		p.add(invalid("price", x.Price.String(), "0 to "+MostPrice.String()))
	}
	if x.Pieces == 0 && x.Minutes == 0 && x.Price == nil {
		p.add(invalid("minutes", x.Minutes, "minutes, pieces or a price"))
	}
	return p.err()
}

// Bill is what was fitted and done in a visit, and what it comes to.
type Bill struct {
	Lines   []BillLine
	Minutes int
	// Sum is what is charged, nil where no line has a price; Unpriced counts the
	// lines that may get one.
	Sum      *Price
	Unpriced int
}

// BillLine is a line and the entry that has it.
type BillLine struct {
	Entry EntryID
	Day   Day
	Work
}

// BillOf adds up the lines among entries that stand.
func BillOf(entries []Entry) Bill {
	var b Bill
	for _, e := range entries {
		if e.Kind != KindWork {
			continue
		}
		b.Lines = append(b.Lines, BillLine{e.ID, e.Day, *e.Work})
		b.Minutes += e.Work.Minutes
		switch {
		case e.Work.Covered:
		case e.Work.Price == nil:
			b.Unpriced++
		default:
			if b.Sum == nil {
				b.Sum = new(Price)
			}
			*b.Sum += *e.Work.Price
		}
	}
	return b
}

// OwnWarranty is the last day on which the workshop stands for its work: the
// latest that a hand-over promised, since a later one takes nothing back; zero
// where none did.
func OwnWarranty(history []Entry) Day {
	var until Day
	for _, e := range Standing(history) {
		if e.Kind == KindHandover {
			if months := e.Handover.WarrantyMonths; months > 0 && until.Before(e.Day.AddMonths(months)) {
				until = e.Day.AddMonths(months)
			}
		}
	}
	return until
}
