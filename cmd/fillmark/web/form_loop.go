// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// loopForm is the form of how a loop is built. Its wetted parts are drawn as a
// row each: those on record, those that most loops have, and one more.
type loopForm struct{ recordForm[loops.Loop] }

func newLoopForm(f *form) loopForm { return loopForm{formOfRecord(acts.Loops(), f)} }

// wettedRow is one wetted part: what it is called, its metal and its plating.
type wettedRow struct{ Part, Metal, Plating field }

// The inputs of the rows are sent as three lists that go side by side.
const (
	wettedPart    = "wetted-part"
	wettedMetal   = "wetted-metal"
	wettedPlating = "wetted-plating"
)

// Wetted are the rows.
func (f loopForm) Wetted() []wettedRow {
	var rows []wettedRow
	row := func(part, metal, plating string) {
		id := fmt.Sprint(f.about, "-wetted-", len(rows))
		label := loops.Capital(part)
		if part == "" {
			label = "Another part"
		}
		choose := func(name, id, label, value string) field {
			x := field{Name: f.Input(name), ID: id, Label: label, Value: value, Part: "choose", Choices: choicesOf("not known", chemistry.Metals())}
			for i := range x.Choices {
				x.Choices[i].On = x.Choices[i].Value == value
			}
			return x
		}
		rows = append(rows, wettedRow{
			field{Name: f.Input(wettedPart), ID: id + "-part", Label: label, Value: part, Kind: "text", Mode: "text"},
			choose(wettedMetal, id, label, metal), choose(wettedPlating, id+"-plating", label+", its plating", plating),
		})
	}
	usual := []string{"cold plate", "radiator", "fittings", "pump"}
	for _, text := range f.typed[f.Input("wetted")] {
		part, metals, _ := strings.Cut(text, ":")
		metal, plating, _ := strings.Cut(metals, "/")
		row(part, metal, plating)
		usual = slices.DeleteFunc(usual, func(s string) bool { return s == part })
	}
	for _, part := range usual {
		row(part, "", "")
	}
	row("", "", "")
	rows[len(rows)-1].Metal.Label = "Its metal"
	return rows
}

// offer puts what is on record into the form; of a loop that nobody looked at it
// is asked whether it is sealed.
func (f loopForm) offer(is loops.Loop, revision uint64) {
	f.recordForm.offer(is, revision)
	if is.BuiltKnown.How == loops.NotKnown {
		f.typed.Del(f.Input("sealed"))
	}
}

// Plated tells that a part has a plating, so that what hides them opens.
func (f loopForm) Plated() bool {
	return strings.Contains(strings.Join(f.typed[f.Input("wetted")], ""), "/")
}

// read reads the rows and all else that the form says.
func (f loopForm) read(is *loops.Loop) error {
	at := func(list string, i int) string {
		if all := f.typed[f.Input(list)]; i < len(all) {
			return strings.TrimSpace(all[i])
		}
		return ""
	}
	wetted := []string{}
	for i := range f.typed[f.Input(wettedPart)] {
		metal, plating := at(wettedMetal, i), at(wettedPlating, i)
		if metal == "" && plating == "" {
			continue
		}
		if plating != "" {
			metal += "/" + plating
		}
		wetted = append(wetted, at(wettedPart, i)+":"+metal)
	}
	f.typed[f.Input("wetted")] = wetted
	sealed, built := f.Input("sealed"), f.Input("built-known")
	unseen := f.text(sealed) == "" // nobody looked yet: taken for sealed
	if unseen && is.ID != 0 && is.BuiltKnown.How != loops.NotKnown {
		f.blame(sealed, "sealed or open")
	}
	if f.text(built) == string(loops.NotKnown) {
		f.typed.Del(built)
	}
	taken := func(l *loops.Loop) {
		if unseen {
			l.Sealed, l.BuiltKnown = true, loops.Known{How: loops.NotKnown}
		}
	}
	if !unseen && is.BuiltKnown.How == loops.NotKnown {
		is.BuiltKnown = loops.Known{}
	}
	err := f.recordForm.read(is, func(l loops.Loop) error {
		taken(&l)
		return l.Validate()
	})
	taken(is)
	return err
}

// Said tells that something is said of how the loop is built, or marked.
func (f loopForm) Said() bool {
	for name, texts := range f.typed {
		if strings.HasPrefix(name, f.prefix) && name != f.Input(wettedPart) && strings.Join(texts, "") != "" {
			return true
		}
	}
	return len(f.fieldForm.Wrong()) > 0
}
