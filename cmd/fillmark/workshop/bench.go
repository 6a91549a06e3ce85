// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// BenchSheet is the wet work of one loop, step by step, with how far it has
// come: printed or on the page.
type BenchSheet struct {
	Tag     loops.Tag `json:"tag"`
	Machine string    `json:"machine"`
	Owner   string    `json:"owner,omitempty"`
	Sealed  bool      `json:"sealed"`
	// Warnings are what the register knows that stands against opening.
	Warnings []string            `json:"warnings"`
	Steps    []loops.StepState   `json:"steps"`
	Open     int                 `json:"open"` // steps neither done nor left out
	Cautions []chemistry.Caution `json:"cautions"`
}

// BenchSheetOf makes the sheet of the loop with the tag.
func (w *Workshop) BenchSheetOf(tag loops.Tag) (BenchSheet, error) {
	file, err := w.File(tag)
	if err != nil {
		return BenchSheet{}, err
	}
	return file.BenchSheet(), nil
}

// BenchSheet is the sheet of the file's loop.
func (f File) BenchSheet() BenchSheet {
	sheet := BenchSheet{
		Tag: f.Loop.Tag, Machine: f.Machine.Name, Owner: f.Owner.Name, Sealed: f.Loop.Sealed,
		Warnings: []string{}, Steps: loops.StepsOf(f.Loop.Sealed, f.History),
	}
	for _, s := range sheet.Steps {
		if s.Open() {
			sheet.Open++
		}
	}
	if f.Owner.ID != 0 && !f.Owner.Consent.Opening {
		sheet.Warnings = append(sheet.Warnings, "No consent to opening is on record: ask the owner first.")
	}
	if f.Owner.ID != 0 && !f.Machine.WarrantyAsked {
		sheet.Warnings = append(sheet.Warnings, "The maker's warranty was not asked about.")
	}
	if charge := f.Loop.State.Charge; charge != nil {
		sheet.Cautions = chemistry.Cautions(charge.Contents())
	} else if !slices.ContainsFunc(f.History, func(e loops.Entry) bool { return e.Kind == loops.KindDrain }) {
		sheet.Warnings = append(sheet.Warnings, "What is in the loop is not on record: treat it as ethylene glycol, which is poisonous.")
	}
	for _, task := range []chemistry.Task{chemistry.TaskOpen, chemistry.TaskClean, chemistry.TaskTest, chemistry.TaskWaste} {
		sheet.Cautions = append(sheet.Cautions, chemistry.TaskCautions(task)...)
	}
	return sheet
}
