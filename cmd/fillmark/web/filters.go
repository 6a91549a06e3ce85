// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"slices"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/evidence"
)

func ownerFilters() input[workshop.OwnerQuery] {
	type q = workshop.OwnerQuery
	orders := choiceWord([]string{"name", "number"})
	byName := word[bool]{orders.schema, func(text string) (bool, error) {
		order, err := orders.parse(text)
		return order == "name", err
	}}
	return query(
		filter("mail", "those whom reminders may be mailed to, or may not", mayYesNo(), func(q *q) **bool { return &q.Mail }),
		filter("text", "part of the name, address or telephone", anyWord(), func(q *q) *string { return &q.Text }),
		filter("sort", "what they are sorted by; by number unless it is given", byName, func(q *q) *bool { return &q.ByName }),
	)
}

func machineFilters() input[workshop.MachineQuery] {
	type q = workshop.MachineQuery
	return query(
		filter("owner", "the owner's number", numberWord[loops.OwnerID](), func(q *q) *loops.OwnerID { return &q.Owner }),
		filter("kind", "the kind of machine", choiceWord(loops.MachineKinds()), func(q *q) *loops.MachineKind { return &q.Kind }),
		filter("promised", "those promised back on or before this day", dayWord(), func(q *q) *loops.Day { return &q.Promised }),
		filter("text", "part of the name, maker or model", anyWord(), func(q *q) *string { return &q.Text }),
		filter("sort", "what they are sorted by; by number unless it is given", choiceWord(workshop.MachineOrders()), func(q *q) *workshop.MachineOrder { return &q.Sort }),
	)
}

func loopFilters() input[workshop.LoopQuery] {
	type q = workshop.LoopQuery
	return query(
		filter("owner", "the owner's number", numberWord[loops.OwnerID](), func(q *q) *loops.OwnerID { return &q.Owner }),
		filter("machine", "the machine's number", numberWord[loops.MachineID](), func(q *q) *loops.MachineID { return &q.Machine }),
		filter("fluid", "the fluid of the charge", oneWord(chemistry.Fluids(), chemistry.ParseFluid), func(q *q) *chemistry.Fluid { return &q.Fluid }),
		filter("metal", "a wetted metal", oneWord(chemistry.Metals(), chemistry.ParseMetal), func(q *q) *chemistry.Metal { return &q.Metal }),
		filter("lot", "the lot of the charge, or of a container that went in", anyWord(), func(q *q) *string { return &q.Lot }),
		filter("due", "those with something due on or before this day", dayWord(), func(q *q) *loops.Day { return &q.Due }),
		filter("sealed", "those that are sealed, or are not", mayYesNo(), func(q *q) **bool { return &q.Sealed }),
		filter("where", "where the loop stands", choiceWord(workshop.LoopPlaces()), func(q *q) *workshop.LoopPlace { return &q.Where }),
		filter("sort", "what they are sorted by; by number unless it is given", choiceWord(workshop.LoopOrders()), func(q *q) *workshop.LoopOrder { return &q.Sort }),
	)
}

func calendarOf() input[loops.OwnerID] {
	return may("owner", "the owner's number; the workshop's own calendar unless it is given", numberWord[loops.OwnerID]())
}

func messageFilter() input[loops.MessageStatus] {
	return may("status", "where the message stands; all unless it is given", choiceWord(loops.MessageStatuses()))
}

func photosOf() input[loops.OwnerID] {
	return may("owner", "the owner whose loops name them", numberWord[loops.OwnerID]())
}

func photoName() input[string] {
	return may("name", "the file's name, for what is said about it", anyWord())
}

// aboutTrait and aboutGroups say how traits are asked for.
const (
	aboutTrait  = "key=value, such as metal=aluminium"
	aboutGroups = "what the groups are split by: a key of traits or key=value; none unless it is given"
)

// patternQuestion asks whether a cause goes with a trait.
type patternQuestion struct {
	cause  loops.Cause
	traits []evidence.Trait
}

func patternQuestions() input[patternQuestion] {
	inLoop := slices.DeleteFunc(loops.Causes(), func(c loops.Cause) bool { return !c.InLoop() })
	trait := word[[]evidence.Trait]{anyWord().schema, func(text string) ([]evidence.Trait, error) {
		t, err := evidence.ParseTrait(text)
		return []evidence.Trait{t}, err
	}}
	return query(
		filter("cause", "the cause in the loop; clog unless it is given", oneWord(inLoop, evidence.ParseCause), func(q *patternQuestion) *loops.Cause { return &q.cause }),
		filter("trait", aboutTrait, trait, func(q *patternQuestion) *[]evidence.Trait { return &q.traits }),
	)
}

// livesQuestion asks for the rows behind the answer of one origin and build.
type livesQuestion struct {
	origin    loops.Origin
	build, by string
}

func livesQuestions() input[livesQuestion] {
	origins := choiceWord([]loops.Origin{loops.WorkshopFill, loops.Factory, loops.UnknownOrigin})
	return query(
		filter("origin", "who filled; workshop unless it is given", origins, func(q *livesQuestion) *loops.Origin { return &q.origin }),
		filter("build", "of the loops; needed where there are charges of both", choiceWord([]string{evidence.Build(true), evidence.Build(false)}), func(q *livesQuestion) *string { return &q.build }),
		filter("by", aboutGroups, anyWord(), func(q *livesQuestion) *string { return &q.by }),
	)
}

// ofTrait is the trait that a summary is about.
func ofTrait() input[evidence.Trait] {
	return must("trait", aboutTrait, word[evidence.Trait]{anyWord().schema, evidence.ParseTrait})
}
