// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"

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

// policyFile is a [loops.Policy] beside what its figures mean. Its version changes
// with every change of a figure or a rule, so that old plans are found and renewed.
//
//go:embed policy.json
var policyFile []byte

// DefaultPolicy returns the shipped policy: the intervals by kind of machine,
// build and fluid, the limits of readings, and the days of the reminder stages,
// each figure with source and grade in the file it is read from. The caller may change it.
func DefaultPolicy() loops.Policy {
	p, err := readPolicy(policyFile)
	if err != nil {
		// The file is part of the program: no input can cause this.
		panic(fmt.Sprintf("schedule: shipped policy: %v", err))
	}
	return p
}

func readPolicy(text []byte) (loops.Policy, error) {
	var file struct {
		About []string `json:"about"`
		loops.Policy
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return file.Policy, err
	}
	return file.Policy, file.Validate()
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
