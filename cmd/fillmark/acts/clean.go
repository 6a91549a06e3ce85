// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Clean cleans a loop.
type Clean struct {
	Doing
	loops.Cleaning
}

func cleanAct() Definition {
	return define(Definition{
		Name: "clean", Done: "Cleaned", Kind: loops.KindClean,
		Short:    "Clean the loop",
		Examples: []string{`7K3QXW --agent acid --rinsed --note "citric, ten minutes, cold"`},
	}, fields[Clean]{
		many(Field{Name: "agent", Also: []string{"agents"}, Label: "with", Help: "what it is cleaned with, in the order of use; repeat"}, spelt("AGENT", chemistry.Agents(), chemistry.ParseAgent), func(a *Clean) *[]chemistry.Agent { return &a.Agents }),
		materials(Field{Label: "seals and plastics", Help: "a seal or plastic that it wets, none for a bare part, those of the loop unless said; repeat"}, func(a *Clean) *[]chemistry.Material { return &a.Materials }),
		one(Field{Name: "rinsed", Label: "rinsed with water after each", Help: "rinsed with water after each agent, until it ran clear"}, truth(), func(a *Clean) *bool { return &a.Rinsed }),
	}, func(e loops.Entry) Clean {
		if e.Clean == nil {
			return Clean{}
		}
		return Clean{Cleaning: *e.Clean}
	})
}

// Check wants to know with what.
func (a *Clean) Check(Snapshot, loops.Day) error {
	if len(a.Agents) == 0 && strings.TrimSpace(a.Note) == "" {
		return wrong("agent", "", "what it is cleaned with, or a note that says so")
	}
	return nil
}

// Judge asks which agents the loop bears, and which bear each other.
func (a *Clean) Judge(s Snapshot, today loops.Day) []Reason {
	state := s.On(a.on(today))
	request := chemistry.CleaningRequest{Metals: s.Loop.Metals(), Materials: a.Materials}
	if len(a.Materials) == 0 {
		request.Materials = s.Loop.Materials
	}
	switch {
	case state.Charge != nil:
		contents := state.Charge.Contents()
		request.Fluid, request.Biocide, request.Inhibitor, request.Additives = contents.Fluid, contents.Biocide, contents.Inhibitor, contents.Additives
	case state.Remains != nil && !state.Remains.Rinsed:
		contents := state.Remains.Contents()
		request.Fluid, request.Biocide, request.Inhibitor, request.Additives = contents.Fluid, contents.Biocide, contents.Inhibitor, contents.Additives
	}
	// The first one meets what an earlier cleaning left.
	together := [][]chemistry.Agent{slices.Concat(state.Agents, a.Agents)}
	if a.Rinsed && len(a.Agents) > 0 {
		together = [][]chemistry.Agent{append(slices.Clone(state.Agents), a.Agents[0])}
		for _, agent := range a.Agents[1:] {
			together = append(together, []chemistry.Agent{agent})
		}
	}
	var reasons []Reason
	for _, agents := range together {
		request.Agents = agents
		found, err := chemistry.CheckCleaning(request)
		if err == nil {
			reasons = append(reasons, found...)
		}
	}
	if len(s.Loop.Wetted) == 0 && len(a.Agents) > 0 {
		reasons = append(reasons, byRecord("metals-unknown", chemistry.Care,
			"the wetted metals are not on record, so nobody can say whether they bear it.",
			"Look what plate, radiator and fittings are made of and write it into the loop's record."))
	}
	return once(reasons)
}

// once keeps one reason of each rule.
func once(reasons []Reason) []Reason {
	seen := map[string]bool{}
	var out []Reason
	for _, r := range reasons {
		if !seen[r.Rule] {
			seen[r.Rule] = true
			out = append(out, r)
		}
	}
	return out
}

// Apply cleans it.
func (a *Clean) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindClean, Clean: &a.Cleaning}, today)
}
