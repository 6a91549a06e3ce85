// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"strconv"
	"strings"

	"fillmark/loops"
)

// Work is a line of the bill.
type Work struct {
	Doing
	loops.Work
}

func workAct() Definition {
	return define(Definition{
		Name: "work", Done: "Work", Kind: loops.KindWork,
		Short: "Write down a part, minutes of work or a price",
		Long: `Each is a line on job sheet and hand-over sheet. The price is that of the whole
line, in the workshop's currency.`,
		Examples: []string{
			`7K3QXW --item "fan, 120 mm" --pieces 2 --price 24.00`,
			`7K3QXW --item "cleaned the cold plate" --minutes 40 --covered`,
		},
	}, fields[Work]{
		one(Field{Name: "item", Label: "", Help: "the part, or what was done", Needed: true, Personal: true}, words(), func(a *Work) *string { return &a.Item }),
		one(Field{Name: "pieces", Label: "", Help: "how many pieces of a part"}, pieces(), func(a *Work) *int { return &a.Pieces }),
		one(Field{Name: "minutes", Label: "", Help: "minutes of work"}, whole("MINUTES", "min"), func(a *Work) *int { return &a.Minutes }),
		may(Field{Name: "price", Label: "price", Help: "price of the whole line, in the workshop's currency", Example: "24.00"}, price(), func(a *Work) **loops.Price { return &a.Price }),
		one(Field{Name: "covered", Label: "by our own warranty", Help: "by our own warranty: it is not charged"}, truth(), func(a *Work) *bool { return &a.Covered }),
	}, func(e loops.Entry) Work { return Work{Work: *e.Work} })
}

// pieces is how many there are, as people count them.
func pieces() kind[int] {
	k := whole("NUMBER", "")
	k.show = func(v int) string {
		if v == 1 {
			return "1\u00a0piece"
		}
		return strconv.Itoa(v) + "\u00a0pieces"
	}
	return k
}

// price is an amount of money: 24, 24.5 or 24,50.
func price() kind[loops.Price] {
	return kind[loops.Price]{
		word: "PRICE", typ: Number, print: loops.Price.String, show: loops.Price.String,
		parse: func(text string) (loops.Price, error) {
			const right = "an amount with two decimals at most, such as 24 or 24.50"
			units, cents, parted := strings.Cut(strings.Replace(strings.TrimSpace(text), ",", ".", 1), ".")
			if len(units) > 9 || len(cents) > 2 || parted && cents == "" || strings.Trim(units+cents, "0123456789") != "" {
				return 0, wrong("", text, right)
			}
			v, err := strconv.ParseInt(units+(cents + "00")[:2], 10, 64)
			if err != nil || units == "" {
				return 0, wrong("", text, right)
			}
			return loops.Price(v), nil
		},
	}
}

// Check wants a figure, or the line says nothing.
func (a *Work) Check(Snapshot, loops.Day) error {
	if a.Pieces == 0 && a.Minutes == 0 && a.Price == nil {
		return wrong("minutes", "", "minutes, pieces or a price")
	}
	return nil
}

// Apply writes it down.
func (a *Work) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindWork, Work: &a.Work}, today)
}
