// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"embed"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// The grades of a figure's source, as they are printed for people, from the
// firmest down. Figures that were only remembered are in no policy.
const (
	GradeStandard = "standard"         // wording of a standard or a regulator
	GradeReport   = "report"           // a secondary report of one
	GradeMaker    = "maker's guidance" // a maker's or trade manual, or a label
	GradePage     = "practice page"    // a trade page or a magazine
	GradeCommon   = "common practice"  // what the trade does, without a source
	GradeComputed = "computed"         // worked out by this program
	GradeOwn      = "workshop's rule"  // the workshop's own configuration
	GradeRecord   = "own record"       // an entry in this loop's history
)

// Grades lists the grades, the firmest first.
func Grades() []string {
	return []string{GradeStandard, GradeReport, GradeMaker, GradePage, GradeCommon, GradeComputed, GradeOwn, GradeRecord}
}

// policyVersion names the shipped figures in plans made from them; it changes
// with every change of a figure or a rule, so that old plans are found and renewed.
const policyVersion = "fillmark-3"

//go:embed policy/*.csv
var policyFiles embed.FS

// DefaultPolicy returns the shipped policy: the intervals by kind of machine,
// build and fluid, the limits of readings, and the days of the reminder stages,
// each figure with source and grade in the files it is read from. The caller may change it.
func DefaultPolicy() loops.Policy {
	p, err := readPolicy()
	if err != nil {
		// The files are part of the program: no input can cause this.
		panic(fmt.Sprintf("schedule: shipped policy: %v", err))
	}
	return p
}

func readPolicy() (loops.Policy, error) {
	p := loops.Policy{Version: policyVersion}
	intervals, err := readTable("policy/intervals.csv")
	if err != nil {
		return p, err
	}
	for _, row := range intervals {
		i, err := readInterval(row)
		if err != nil {
			return p, err
		}
		p.Intervals = append(p.Intervals, i)
	}
	if p.Limits, err = readLimits(); err != nil {
		return p, err
	}
	stages := map[string]*int{"ahead": &p.AheadDays, "late": &p.LateDays, "last": &p.LastDays, "call": &p.CallDays}
	if err := readFigures("policy/stages.csv", "stage", "days", stages); err != nil {
		return p, err
	}
	letters := map[string]*int{"join": &p.JoinDays, "spacing": &p.SpacingDays, "year": &p.LettersAYear}
	if err := readFigures("policy/letters.csv", "rule", "figure", letters); err != nil {
		return p, err
	}
	return p, p.Validate()
}

// readFigures reads a table of whole numbers by name.
func readFigures(file, name, figure string, into map[string]*int) error {
	rows, err := readTable(file)
	if err != nil {
		return err
	}
	for _, row := range rows {
		field, ok := into[row[name]]
		if !ok {
			return fmt.Errorf("%s: %s %q is none", file, name, row[name])
		}
		if *field, err = strconv.Atoi(row[figure]); err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
	}
	return nil
}

// readTable reads one CSV file, a map by column name for each row.
func readTable(name string) ([]map[string]string, error) {
	file, err := policyFiles.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	header, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	var rows []map[string]string
	for {
		record, err := r.Read()
		if err == io.EOF {
			return rows, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		row := map[string]string{}
		for i, cell := range record {
			row[header[i]] = cell
		}
		if !slices.Contains(Grades(), row["grade"]) {
			return nil, fmt.Errorf("%s: grade %q is none", name, row["grade"])
		}
		rows = append(rows, row)
	}
}

func readInterval(row map[string]string) (loops.Interval, error) {
	i := loops.Interval{
		Task:     loops.TaskKind(row["task"]),
		Machines: list[loops.MachineKind](row["machines"]),
		Fluids:   list[chemistry.Fluid](row["fluids"]),
		First:    row["first"] == "first",
		Source:   row["source"],
		Grade:    row["grade"],
	}
	if build := row["build"]; build != "" {
		sealed := build == "sealed"
		i.Sealed = &sealed
	}
	number, unit, _ := strings.Cut(row["interval"], " ")
	n, err := strconv.Atoi(number)
	if err != nil {
		return i, fmt.Errorf("interval %q: %w", row["interval"], err)
	}
	switch strings.TrimSuffix(unit, "s") {
	case "day":
		i.Days = n
	case "month":
		i.Months = n
	default:
		return i, fmt.Errorf("interval %q: the unit is days or months", row["interval"])
	}
	return i, nil
}

func list[T ~string](cell string) []T {
	if cell == "" {
		return nil
	}
	var values []T
	for v := range strings.SplitSeq(cell, "/") {
		values = append(values, T(v))
	}
	return values
}

// fitting returns the intervals of a task that count for a loop: of those
// whose conditions it meets, the ones with the most conditions. First
// intervals are chosen among themselves, since they stand beside the others.
func fitting(p loops.Policy, task loops.TaskKind, first bool, in Input, fluid chemistry.Fluid) []loops.Interval {
	var best []loops.Interval
	most := -1
	for _, i := range p.Intervals {
		if i.Task != task || i.First != first || !fits(i, in, fluid) {
			continue
		}
		n := conditions(i)
		if n > most {
			best, most = best[:0], n
		}
		if n == most {
			best = append(best, i)
		}
	}
	return best
}

func fits(i loops.Interval, in Input, fluid chemistry.Fluid) bool {
	return (len(i.Machines) == 0 || slices.Contains(i.Machines, in.Machine.Kind)) &&
		(len(i.Fluids) == 0 || slices.Contains(i.Fluids, fluid)) &&
		(i.Sealed == nil || *i.Sealed == in.Loop.Sealed)
}

// conditions counts what an interval asks of a loop; a workshop's own figure
// counts for more than any shipped one.
func conditions(i loops.Interval) int {
	n := 0
	if i.Own {
		n = 10
	}
	for _, has := range []bool{len(i.Machines) > 0, len(i.Fluids) > 0, i.Sealed != nil} {
		if has {
			n++
		}
	}
	return n
}
