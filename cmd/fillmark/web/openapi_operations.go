// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"slices"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// operation says what one route of the JSON API takes and gives. The document
// is made from these and from the Go types, so that it cannot say anything else
// than the program does.
type operation struct {
	pattern string
	summary string
	in, out any // zero values; in is nil where there is no JSON in the body
	// body is the schema of a body that no Go type is read from.
	body object
	// inType and outType are the media types of bodies that are no JSON.
	inType, outType string
	query           []queryParameter
}

// queryParameter is a part of the address behind the question mark.
type queryParameter struct {
	name, about string
	schema      object
	required    bool
}

// The media types of bodies that are no JSON.
const (
	typeCSV   = "text/csv"
	typeLines = "application/x-ndjson"
)

func textParameter(name, about string) queryParameter {
	return queryParameter{name: name, about: about, schema: object{"type": "string"}}
}

func numberParameter(name, about string) queryParameter {
	return queryParameter{name: name, about: about, schema: object{"type": "integer", "minimum": 1}}
}

func dayParameter(name, about string) queryParameter {
	return queryParameter{name: name, about: about, schema: object{"type": "string", "format": "date"}}
}

func yesNoParameter(name, about string) queryParameter {
	return queryParameter{name: name, about: about, schema: object{"type": "boolean"}}
}

func choiceParameter[T ~string](name, about string, of ...T) queryParameter {
	return queryParameter{name: name, about: about, schema: object{"type": "string", "enum": of}}
}

// mustHave makes a parameter one that has to be given.
func mustHave(q queryParameter) queryParameter {
	q.required = true
	return q
}

// operations lists the JSON API. A test compares it with the routes.
func operations() []operation {
	return slices.Concat(peopleOperations(), loopOperations(), actOperations(), shelfOperations(), openingOperations(), mailOperations(), fileOperations(), technicianOperations())
}

func peopleOperations() []operation {
	return []operation{
		{pattern: "GET /api/v1/owners", summary: "List the owners", out: list[loops.Owner]{}, query: []queryParameter{
			yesNoParameter("mail", "those whom reminders may be mailed to, or may not"),
			textParameter("text", "part of the name, address or telephone"),
			choiceParameter("sort", "what they are sorted by; by number unless it is given", "name", "number"),
		}},
		{pattern: "POST /api/v1/owners", summary: "Put an owner on record", in: loops.Owner{}, out: loops.Owner{}},
		{pattern: "GET /api/v1/owners/{id}", summary: "One owner with their machines and loops", out: workshop.OwnerFile{}},
		{pattern: "PUT /api/v1/owners/{id}", summary: "Change an owner's record, at the revision that was read", in: loops.Owner{}, out: loops.Owner{}},
		{pattern: "GET /api/v1/owners/{id}/export", summary: "All that is on record of an owner, one JSON document a line", outType: typeLines},
		{pattern: "POST /api/v1/owners/{id}/end-links", summary: "Close every link that an owner was sent", out: loops.Owner{}},
		{pattern: "POST /api/v1/owners/{id}/erase", summary: "Erase who an owner is (only over the Unix socket)", in: Erasure{}, out: loops.Owner{}},
		{pattern: "GET /api/v1/machines", summary: "List the machines", out: list[workshop.MachineLine]{}, query: []queryParameter{
			numberParameter("owner", "the owner's number"),
			choiceParameter("kind", "the kind of machine", loops.MachineKinds()...),
			dayParameter("promised", "those promised back on or before this day"),
			textParameter("text", "part of the name, maker or model"),
			choiceParameter("sort", "what they are sorted by; by number unless it is given", workshop.MachineOrders()...),
		}},
		{pattern: "POST /api/v1/machines", summary: "Put a machine on record", in: loops.Machine{}, out: loops.Machine{}},
		{pattern: "GET /api/v1/machines/{id}", summary: "One machine with its loops", out: workshop.MachineFile{}},
		{pattern: "PUT /api/v1/machines/{id}", summary: "Change a machine's record, at the revision that was read", in: loops.Machine{}, out: loops.Machine{}},
	}
}

func loopOperations() []operation {
	return []operation{
		{pattern: "GET /api/v1/loops", summary: "List the loops", out: list[workshop.LoopLine]{}, query: []queryParameter{
			numberParameter("owner", "the owner's number"),
			numberParameter("machine", "the machine's number"),
			choiceParameter("fluid", "the fluid of the charge", chemistry.Fluids()...),
			choiceParameter("metal", "a wetted metal", chemistry.Metals()...),
			textParameter("lot", "the lot of the charge, or of a container that went in"),
			dayParameter("due", "those with something due on or before this day"),
			yesNoParameter("sealed", "those that are sealed, or are not"),
			choiceParameter("where", "where the loop stands", workshop.LoopPlaces()...),
			choiceParameter("sort", "what they are sorted by; by number unless it is given", workshop.LoopOrders()...),
		}},
		{pattern: "POST /api/v1/loops", summary: "Put a loop on record", in: loops.Loop{}, out: loops.Loop{}},
		{pattern: "GET /api/v1/loops/{tag}", summary: "One loop with all that is known of it", out: workshop.File{}},
		{pattern: "PUT /api/v1/loops/{tag}", summary: "Change how a loop is built, at the revision that was read", in: loops.Loop{}, out: LoopAnswer{}},
		{pattern: "POST /api/v1/loops/{tag}/copy", summary: "Put a loop built like this one on record", in: LoopCopy{}, out: loops.Loop{}},
		{pattern: "GET /api/v1/loops/{tag}/steps", summary: "The wet work of a loop, step by step", out: workshop.BenchSheet{}},
		{pattern: "GET /api/v1/loops/{tag}/letter", summary: "The letter about a loop, to be printed", out: LetterAnswer{}},
		{pattern: "POST /api/v1/topup", summary: "Check a top-up", in: workshop.TopUpQuestion{}, out: workshop.TopUpAnswer{}},
		{pattern: "GET /api/v1/due", summary: "What the workshop has before it", out: DueAnswer{}},
		{pattern: "GET /api/v1/calendar", summary: "What is due as calendar programs read it (RFC 5545)", out: CalendarAnswer{}, query: []queryParameter{
			numberParameter("owner", "the owner's number; the workshop's own calendar unless it is given"),
		}},
	}
}

func shelfOperations() []operation {
	return []operation{
		{pattern: "GET /api/v1/containers", summary: "List the containers on the shelf", out: list[loops.Container]{}},
		{pattern: "POST /api/v1/containers", summary: "Put a container on record", in: loops.Container{}, out: ContainerAnswer{}},
		{pattern: "GET /api/v1/containers/{id}", summary: "One container with what its label says", out: ContainerAnswer{}},
		{pattern: "PUT /api/v1/containers/{id}", summary: "Change a container's record, at the revision that was read", in: loops.Container{}, out: ContainerAnswer{}},
		{pattern: "POST /api/v1/containers/{id}/take-out", summary: "Take liquid out that goes into no loop", in: TakeOut{}, out: ContainerAnswer{}},
		{pattern: "GET /api/v1/recall", summary: "Every loop that a lot went into, with whom to call", out: workshop.Recall{}, query: []queryParameter{
			mustHave(textParameter("lot", "the lot as it is on the label")),
		}},
		{pattern: "GET /api/v1/used-fluid", summary: "List the used-fluid log, the newest line first; one whose entry is struck out does not count", out: list[workshop.UsedLine]{}},
		{pattern: "POST /api/v1/used-fluid", summary: "Add a line to the used-fluid log", in: Waste{}, out: loops.UsedFluid{}},
		{pattern: "GET /api/v1/instruments", summary: "List the instruments", out: list[loops.Instrument]{}},
		{pattern: "POST /api/v1/instruments", summary: "Put an instrument on record", in: loops.Instrument{}, out: loops.Instrument{}},
		{pattern: "POST /api/v1/instruments/{id}/checks", summary: "Record a check of an instrument", in: loops.InstrumentCheck{}, out: loops.Instrument{}},
		{pattern: "POST /api/v1/instruments/{id}/retire", summary: "Take an instrument out of use", in: OnDay{}, out: loops.Instrument{}},
		{pattern: "GET /api/v1/samples", summary: "List the retained samples", out: list[KeptSample]{}},
		{pattern: "POST /api/v1/samples", summary: "Put a retained sample on record", in: KeptSample{}, out: loops.RetainedSample{}},
		{pattern: "POST /api/v1/samples/{id}/discard", summary: "Record that a sample was poured away", in: OnDay{}, out: loops.RetainedSample{}},
	}
}

func openingOperations() []operation {
	trait := textParameter("trait", "key=value, such as metal=aluminium")
	by := textParameter("by", "what the groups are parted by: a key of traits or key=value; none unless it is given")
	return []operation{
		{pattern: "GET " + photosPath, summary: "List the photos that histories name; /photos/HASH.jpg and /photos/HASH-small.jpg are their files", out: list[NamedPhoto]{}, query: []queryParameter{
			numberParameter("owner", "the owner whose loops name them"),
		}},
		{pattern: "POST " + photosPath, summary: "Keep a photo; an opening names it by its hash", inType: "image/*", out: workshop.KeptPhoto{}, query: []queryParameter{
			textParameter("name", "the file's name, for what is said about it"),
		}},
		{pattern: "GET /api/v1/openings", summary: "List the openings, the newest first", out: list[workshop.OpeningLine]{}},
		{pattern: "GET /api/v1/openings/of/{tag}", summary: "The openings of one loop with their likely readings", out: list[workshop.OpeningFile]{}},
		{pattern: "GET /api/v1/openings/pattern", summary: "Pattern or chance?", out: workshop.PatternAnswer{}, query: []queryParameter{
			choiceParameter("cause", "the cause in the loop; clog unless it is given", causesInLoop()...), trait,
		}},
		{pattern: "GET /api/v1/openings/howlong", summary: "How long do charges last?", out: list[workshop.OriginLives]{}, query: []queryParameter{by}},
		{pattern: "GET /api/v1/openings/evidence", summary: "List every version of what plans learn from openings, the newest first", out: list[loops.Evidence]{}},
		{pattern: "GET /api/v1/openings/whenlook", summary: "When should a charge be looked at?", out: list[workshop.WhenLook]{}},
		{pattern: "GET /api/v1/openings/cases", summary: "List the lives of all charges on record", out: list[workshop.CaseLine]{}},
		{pattern: "GET /api/v1/openings/lives", summary: "The rows that one origin's answers rest on", outType: typeCSV, query: []queryParameter{
			choiceParameter("origin", "who filled; workshop unless it is given", loops.WorkshopFill, loops.Factory, loops.UnknownOrigin), by,
		}},
		{pattern: "GET /api/v1/openings/watches", summary: "List the patterns under watch with what has come of them", out: list[workshop.WatchLine]{}},
		{pattern: "POST /api/v1/openings/watches", summary: "Put a pattern under watch, to be tested on later lives", in: loops.PatternWatch{}, out: workshop.WatchLine{}},
		{pattern: "GET /api/v1/openings/summary", summary: "What a maker may be shown about loops with a trait", out: workshop.Summary{}, query: []queryParameter{mustHave(trait)}},
		{pattern: "GET /api/v1/openings/summary.csv", summary: "The summary as a table", outType: typeCSV, query: []queryParameter{mustHave(trait)}},
	}
}

func causesInLoop() []loops.Cause {
	return slices.DeleteFunc(loops.Causes(), func(c loops.Cause) bool { return !c.InLoop() })
}

func mailOperations() []operation {
	key := mustHave(textParameter("key", "the message's key"))
	return []operation{
		{pattern: "POST /api/v1/sweep", summary: "Compose and deliver what is due", out: SweepAnswer{}},
		{pattern: "GET /api/v1/outbox", summary: "List the messages", out: list[loops.Message]{}, query: []queryParameter{
			choiceParameter("status", "where the message stands; all unless it is given",
				loops.Queued, loops.Held, loops.Delivered, loops.Refused, loops.Expired, loops.Dropped),
		}},
		{pattern: "GET /api/v1/outbox/message", summary: "One message as it was written", out: loops.Message{}, query: []queryParameter{key}},
		{pattern: "POST /api/v1/outbox/message", summary: "Retry, hold, release or drop a message", in: MessageAction{}, out: loops.Message{}},
		{pattern: "GET /api/v1/suppressed", summary: "List the addresses that were given up", out: list[loops.Suppression]{}},
		{pattern: "POST /api/v1/suppressed/allow", summary: "Let mail go to an address again", in: AllowedAddress{}, out: AllowedAddress{}},
		{pattern: "POST /api/v1/bounces", summary: "Take in a mail that came back", inType: "message/rfc822", out: BounceAnswer{}},
	}
}

func fileOperations() []operation {
	return []operation{
		{pattern: "GET /api/v1/tables/{table}", summary: "A list as a table", outType: typeCSV},
		{pattern: "POST /api/v1/tables/{table}", summary: "Put a table of new records on record, all of it or nothing", inType: typeCSV, out: workshop.Imported{}, query: []queryParameter{
			yesNoParameter("dry_run", "find what is wrong and write nothing"),
		}},
		{pattern: "GET /api/v1/export", summary: "The whole register, one JSON document a line", outType: typeLines},
		{pattern: "POST /api/v1/backup", summary: "Write a backup into a new folder (only over the Unix socket)", in: BackupTo{}, out: BackupTo{}},
		{pattern: "POST /api/v1/compact", summary: "Give back the file's free room and remove photos of forms that were given up (only over the Unix socket)", out: Compacted{}},
		{pattern: "GET /api/v1/check", summary: "Check the whole file", out: CheckReport{}},
	}
}

func technicianOperations() []operation {
	return []operation{
		{pattern: "GET /api/v1/technicians", summary: "List who may sign in", out: list[loops.Technician]{}},
		{pattern: "POST /api/v1/first-link", summary: "The link with which the first technician sets a password (only over the Unix socket)", out: PasswordLink{}},
		{pattern: "POST /api/v1/technicians", summary: "Let a technician sign in (only over the Unix socket)", in: NewTechnician{}, out: loops.Technician{}},
		{pattern: "POST /api/v1/technicians/{name}/password", summary: "Set a technician's password (only over the Unix socket)", in: NewPassword{}, out: loops.Technician{}},
		{pattern: "POST /api/v1/technicians/{name}/link", summary: "A link that sets a technician's password once (only over the Unix socket)", out: PasswordLink{}},
		{pattern: "DELETE /api/v1/technicians/{name}", summary: "Let a technician sign in no longer (only over the Unix socket)", out: struct{}{}},
	}
}
