// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bufio"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"sort"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
	"fillmark/loops/sheet"
)

// A table of acts has a row for each act: the loop's tag, the act's name, and a
// column for every field that some act has. A row says only what its own act
// takes.

// Finding is what speaks against acts of a loop that were taken all the same.
type Finding struct {
	Tag     loops.Tag         `json:"tag"`
	Verdict chemistry.Verdict `json:"verdict"`
	Rule    string            `json:"rule"`
	Text    string            `json:"text"`
}

// The columns of a table of acts before those of the fields. The number is the
// register's.
const (
	tagColumn    = "tag"
	actColumn    = "act"
	numberColumn = "number"
	dayColumn    = "day" // the field of every act
)

// actKeys are the columns of all fields that people fill in, in the order of
// the acts.
func actKeys() []string {
	var keys []string
	for _, d := range acts.All() {
		for _, f := range d.Fields {
			if key := f.JSONKey(); !f.Hidden && !slices.Contains(keys, key) {
				keys = append(keys, key)
			}
		}
	}
	return keys
}

// writeActs writes what stands in every history, in the order in which it was
// recorded. What was struck out is left out with what struck it, and so are
// answers, which owners give. A machine that changed hands did so once, however
// many loops it has.
func (w *Workshop) writeActs(out io.Writer) error {
	type line struct {
		tag   loops.Tag
		entry loops.Entry
	}
	var lines []line
	for l, err := range w.register.Loops() {
		if err != nil {
			return err
		}
		history, err := w.register.History(l.ID)
		if err != nil {
			return err
		}
		for _, e := range loops.Standing(history) {
			_, written := acts.OfKind(e.Kind)
			if written && e.Kind == loops.KindTransfer {
				if written, err = w.firstOf(l); err != nil {
					return err
				}
			}
			if written && e.Kind != loops.KindCorrection {
				lines = append(lines, line{l.Tag, e})
			}
		}
	}
	slices.SortStableFunc(lines, func(a, b line) int { return a.entry.Recorded.Compare(b.entry.Recorded) })
	to, keys := bufio.NewWriter(out), actKeys()
	if err := sheet.WriteRow(to, append([]string{tagColumn, actColumn, numberColumn}, keys...)); err != nil {
		return err
	}
	for _, l := range lines {
		d, _ := acts.OfKind(l.entry.Kind)
		a, _ := acts.Entered(l.entry)
		said := d.Say(a)
		cells := make([]string, 3+len(keys))
		cells[0], cells[1], cells[2] = string(l.tag), d.Name, fmt.Sprint(l.entry.ID)
		for _, f := range d.Fields {
			if !f.Hidden {
				cells[3+slices.Index(keys, f.JSONKey())] = f.ToCell(said[f.Name])
			}
		}
		if err := sheet.WriteRow(to, cells); err != nil {
			return err
		}
	}
	return to.Flush()
}

// firstOf tells the loop for which a transfer of its machine is written.
func (w *Workshop) firstOf(l loops.Loop) (bool, error) {
	inside, err := w.register.LoopsOf(l.Machine)
	return err == nil && inside[0].ID == l.ID, err
}

// actRow is a row of the table of acts.
type actRow struct {
	line int
	tag  loops.Tag
	of   acts.Definition
	said acts.Said
	act  acts.Act
}

// importActs judges the rows of each loop by what those before them leave, as
// the gate judges a command, and records them: those of one loop in one change.
// Nothing is written before all of them are judged. The rows of a loop that were
// imported before, and no others with them, add nothing; among new ones a row
// that is on record already is refused.
func (w *Workshop) importActs(s Stamp, in io.Reader, dryRun bool) (Imported, error) {
	report := Imported{Table: ActsTable}
	rows, ignored, err := readActs(in)
	if err != nil {
		return report, err
	}
	report.Rows, report.Ignored = len(rows), ignored
	of := map[loops.Tag][]actRow{}
	for _, r := range rows {
		if !slices.Contains(report.Tags, r.tag) {
			report.Tags = append(report.Tags, r.tag)
		}
		of[r.tag] = append(of[r.tag], r)
	}
	for _, tag := range report.Tags {
		for _, r := range of[tag] {
			if r.of.Kind == loops.KindTransfer && len(of[tag]) > 1 {
				return report, wrong(fmt.Sprintf("line %d (act)", r.line), r.of.Name, "a table of its own: what else is done to the loop is judged by who has it")
			}
		}
		of[tag][0].keyed(of[tag])
		judged, err := w.judgeRows(s, tag, of[tag])
		if err != nil {
			return report, err
		}
		if judged.Repeated {
			report.Rows, report.Repeated = report.Rows-len(of[tag]), report.Repeated+len(of[tag])
		}
		report.Findings = append(report.Findings, findingsOf(tag, judged)...)
	}
	if dryRun {
		return report, nil
	}
	for _, tag := range report.Tags {
		if _, err := w.act(s, tag, recordTable, actsOf(of[tag])); err != nil {
			return report, fmt.Errorf("loop %s: %w", tag, err)
		}
	}
	report.Written = true
	return report, nil
}

func actsOf(rows []actRow) []acts.Act {
	all := make([]acts.Act, 0, len(rows))
	for _, r := range rows {
		all = append(all, r.act)
	}
	return all
}

// judgeRows judges the rows of a loop, and names the first that cannot stand.
func (w *Workshop) judgeRows(s Stamp, tag loops.Tag, rows []actRow) (Recorded, error) {
	all := actsOf(rows)
	judged, err := w.Check(s, tag, all...)
	switch {
	case err == nil && judged.Repeated:
		return judged, nil
	case err == nil:
		return judged, w.onRecord(tag, rows)
	}
	at := rows[sort.Search(len(all)-1, func(i int) bool {
		_, err := w.Check(s, tag, all[:i+1]...)
		return err != nil
	})]
	place := fmt.Sprintf("line %d (%s %s)", at.line, at.of.Name, tag)
	var stop *acts.StopError
	var invalid *loops.InvalidError
	switch {
	case errors.As(err, &stop):
		return judged, &acts.StopError{Act: place, Reasons: stop.Reasons, Ways: stop.Ways}
	case errors.As(err, &invalid):
		return judged, wrong(place+" "+invalid.Field, invalid.Value, invalid.Reason)
	}
	return judged, fmt.Errorf("%s: %w", place, err)
}

// onRecord refuses a row that says what an entry on record says.
func (w *Workshop) onRecord(tag loops.Tag, rows []actRow) error {
	file, err := w.File(tag)
	if err != nil {
		return err
	}
	for _, r := range rows {
		snapshot, err := w.snapshotFor(file, r.act)
		if err != nil {
			return err
		}
		for _, e := range loops.Standing(file.History) {
			if e.Kind == r.of.Kind && acts.Differs(r.of, r.act, e, snapshot) == "" {
				return wrong(fmt.Sprintf("line %d", r.line), r.of.Name, fmt.Sprintf("what is not on record: entry %d of %s says the same", e.ID, tag))
			}
		}
	}
	return nil
}

func findingsOf(tag loops.Tag, judged Recorded) []Finding {
	var all []Finding
	for _, r := range judged.Reasons {
		if r.Verdict.Worse(chemistry.Go) {
			all = append(all, Finding{tag, r.Verdict, r.Rule, r.Text})
		}
	}
	return all
}

// readActs reads the rows, or returns all that is wrong with them.
func readActs(in io.Reader) (rows []actRow, ignored []string, err error) {
	known := append([]string{tagColumn, actColumn, numberColumn}, actKeys()...)
	return readRows(in, known, numberColumn, readAct, tagColumn, actColumn, dayColumn)
}

func readAct(line sheet.Row, header []string) (actRow, error) {
	r := row[acts.Act]{Row: line, cells: map[string]sheet.Cell{}}
	cell := func(name string) sheet.Cell { return line.Cells[slices.Index(header, name)] }
	where := cell(tagColumn)
	tag, err := loops.ParseTag(where.Text)
	if err != nil {
		return actRow{}, where.Blame(tagColumn, err)
	}
	where = cell(actColumn)
	d, ok := acts.Find(where.Text)
	if !ok {
		var names []string
		for _, d := range acts.All() {
			names = append(names, d.Name)
		}
		return actRow{}, where.Blame(actColumn, wrong("", where.Text, "one of: "+strings.Join(names, ", ")))
	}
	said, problems := acts.Said{}, []error{}
	for i, column := range header {
		if column == tagColumn || column == actColumn || column == numberColumn {
			continue
		}
		where := line.Cells[i]
		f := slices.IndexFunc(d.Fields, func(f acts.Field) bool { return f.JSONKey() == column && !f.Hidden })
		switch {
		case column == dayColumn && where.Text == "": // a month later the row would say the same, and nothing new
			problems = append(problems, where.Blame(column, wrong("", "", "the day on which it was done")))
		case f < 0 && where.Text != "":
			problems = append(problems, where.Blame(column, wrong("", where.Text, "nothing: "+d.Name+" has no such field")))
		case f >= 0:
			field := d.Fields[f]
			r.cells[field.Name] = where
			texts, err := saidIn(where, field)
			problems = append(problems, r.blame(err, d.Fields)...)
			if texts != nil {
				said[field.Name] = texts
			}
		}
	}
	act, err := d.Read(said)
	problems = append(problems, r.blame(err, d.Fields)...)
	return actRow{line.Line, tag, d, said, act}, errors.Join(problems...)
}

// keyed gives the first row of a loop a key made of all its rows.
func (r *actRow) keyed(rows []actRow) {
	hash := sha256.New()
	for _, row := range rows {
		fmt.Fprintf(hash, "%s %s", row.tag, row.of.Name)
		for _, field := range slices.Sorted(maps.Keys(row.said)) {
			fmt.Fprintf(hash, "\x00%s=%q", field, row.said[field])
		}
	}
	r.said["key"] = []string{fmt.Sprintf("table-%.16x", hash.Sum(nil))}
	r.act, _ = r.of.Read(r.said) // it could be read before
}
