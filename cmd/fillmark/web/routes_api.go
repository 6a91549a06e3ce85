// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"slices"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// The media types of bodies that are no JSON.
const (
	typeCSV   = "text/csv"
	typeLines = "application/x-ndjson"
	typeImage = "image/*"
	typeMail  = "message/rfc822"
)

// apiRoutes lists the JSON API. What a call takes and gives, and what the
// document says about that, are the types of the function behind it.
func (s *server) apiRoutes() []route {
	return slices.Concat(s.peopleRoutes(), s.loopRoutes(), s.actRoutes(), s.shelfRoutes(), s.openingRoutes(), s.mailRoutes(), s.fileRoutes(), s.technicianRoutes())
}

func (s *server) peopleRoutes() []route {
	owner, machine := idInPath[loops.OwnerID](), idInPath[loops.MachineID]()
	return []route{
		{"GET /api/v1/owners", technicians, "List the owners", finds(ownerFilters(), s.Workshop.FindOwners)},
		{"POST /api/v1/owners", technicians, "Put an owner on record", writes(s, body[loops.Owner](), s.Workshop.AddOwner)},
		{"GET /api/v1/owners/{id}", technicians, "One owner with their machines and loops", reads(owner, s.Workshop.OwnerFileOf)},
		{"PUT /api/v1/owners/{id}", technicians, "Change an owner's record, at the revision that was read", writes2(s, owner, body[loops.Owner](), s.changeOwner)},
		{"GET /api/v1/owners/{id}/export", technicians, "All that is on record of an owner, one JSON document a line", sends(typeLines, owner, s.exportOwner)},
		{"POST /api/v1/owners/{id}/end-links", technicians, "Close every link that an owner was sent", writes(s, owner, s.Workshop.EndLinks)},
		{"POST /api/v1/owners/{id}/erase", ownComputer, "Erase who an owner is", asks2(owner, body[Erasure](), s.eraseOwner)},
		{"GET /api/v1/machines", technicians, "List the machines", finds(machineFilters(), s.Workshop.FindMachines)},
		{"POST /api/v1/machines", technicians, "Put a machine on record", writes(s, body[loops.Machine](), s.Workshop.AddMachine)},
		{"GET /api/v1/machines/{id}", technicians, "One machine with its loops", reads(machine, s.Workshop.MachineFileOf)},
		{"PUT /api/v1/machines/{id}", technicians, "Change a machine's record, at the revision that was read", writes2(s, machine, body[loops.Machine](), s.changeMachine)},
	}
}

func (s *server) loopRoutes() []route {
	tag := tagInPath()
	return []route{
		{"GET /api/v1/loops", technicians, "List the loops", finds(loopFilters(), s.Workshop.FindLoops)},
		{"POST /api/v1/loops", technicians, "Put a loop on record", writes(s, body[loops.Loop](), s.Workshop.AddLoop)},
		{"GET /api/v1/loops/{tag}", technicians, "One loop with all that is known of it", reads(tag, s.Workshop.File)},
		{"PUT /api/v1/loops/{tag}", technicians, "Change how a loop is built, at the revision that was read", writes2(s, tag, body[loops.Loop](), s.changeLoop)},
		{"POST /api/v1/intakes", technicians, "Take a machine in at the counter: who, what, what hurts, photos", writes(s, body[workshop.Arrival](), s.Workshop.Arrive)},
		{"GET /api/v1/loops/{tag}/steps", technicians, "The wet work of a loop, step by step", reads(tag, s.Workshop.BenchSheetOf)},
		{"POST /api/v1/loops/{tag}/log", technicians, "Keep what a temperature log of a loop showed, week by week", writes2(s, tag, body[loops.TemperatureLog](), s.keepLog)},
		{"GET /api/v1/loops/{tag}/letter", technicians, "The letter about a loop, to be printed", writes(s, tag, s.letter)},
		{"POST /api/v1/topup", technicians, "Check a top-up", reads(body[workshop.TopUpQuestion](), s.Workshop.CheckTopUp)},
		{"GET /api/v1/due", technicians, "What the workshop has before it", answers(s.morning)},
		{"GET /api/v1/calendar", technicians, "What is due as calendar programs read it (RFC 5545)", reads(calendarOf(), s.calendar)},
	}
}

// actRoutes lists a route for every act there is.
func (s *server) actRoutes() []route {
	var all []route
	check := may("check", "judge it and record nothing", yesNo())
	for _, d := range acts.All() {
		all = append(all, route{"POST /api/v1/loops/{tag}/acts/" + d.Name, technicians, d.Short, asks2(act(d), check, s.act)})
	}
	return all
}

func (s *server) shelfRoutes() []route {
	container, instrument, sample := idInPath[loops.ContainerID](), idInPath[loops.InstrumentID](), idInPath[loops.SampleID]()
	lot := must("lot", "the lot as it is on the label", anyWord())
	return []route{
		{"GET /api/v1/containers", technicians, "List the containers on the shelf", all(s, reader.Containers)},
		{"POST /api/v1/containers", technicians, "Put a container on record", writes(s, body[loops.Container](), s.putContainer)},
		{"GET /api/v1/containers/{id}", technicians, "One container with what its label says", reads(container, s.containerOf)},
		{"PUT /api/v1/containers/{id}", technicians, "Change a container's record, at the revision that was read", writes2(s, container, body[loops.Container](), s.changeContainer)},
		{"POST /api/v1/containers/{id}/take-out", technicians, "Take liquid out that goes into no loop", writes2(s, container, body[TakeOut](), s.takeOut)},
		{"GET /api/v1/recall", technicians, "Every loop that a lot went into, with whom to call", reads(lot, s.Workshop.RecallOf)},
		{"GET /api/v1/used-fluid", technicians, "List the used-fluid log, the newest line first; one whose entry is struck out does not count", lists(s.usedFluid)},
		{"POST /api/v1/used-fluid", technicians, "Add a line to the used-fluid log", writes(s, body[Waste](), s.addWaste)},
		{"GET /api/v1/instruments", technicians, "List the instruments", all(s, reader.Instruments)},
		{"POST /api/v1/instruments", technicians, "Put an instrument on record", writes(s, body[loops.Instrument](), s.Workshop.AddInstrument)},
		{"POST /api/v1/instruments/{id}/checks", technicians, "Record a check of an instrument", writes2(s, instrument, body[loops.InstrumentCheck](), s.Workshop.CheckInstrument)},
		{"POST /api/v1/instruments/{id}/retire", technicians, "Take an instrument out of use", writes2(s, instrument, body[OnDay](), s.retireInstrument)},
		{"GET /api/v1/samples", technicians, "List the retained samples", lists(s.samples)},
		{"POST /api/v1/samples", technicians, "Put a retained sample on record", writes(s, body[KeptSample](), s.addSample)},
		{"POST /api/v1/samples/{id}/discard", technicians, "Record that a sample was poured away", writes2(s, sample, body[OnDay](), s.discardSample)},
	}
}

func (s *server) openingRoutes() []route {
	by := may("by", aboutGroups, anyWord())
	return []route{
		{"GET " + photosPath, technicians, "List the photos that histories name; /photos/HASH.jpg and /photos/HASH-small.jpg are their files", asks(photosOf(), s.photos)},
		{"POST " + photosPath, technicians, "Keep a photo; an opening names it by its hash", asks2(photoName(), bytesOf(typeImage), s.keepPhoto)},
		{"GET /api/v1/openings", technicians, "List the openings, the newest first", lists(s.Workshop.Openings)},
		{"GET /api/v1/openings/of/{tag}", technicians, "The openings of one loop with their likely readings", finds(tagInPath(), s.Workshop.OpeningsOf)},
		{"GET /api/v1/openings/pattern", technicians, "Pattern or chance?", reads(patternQuestions(), s.pattern)},
		{"GET /api/v1/openings/howlong", technicians, "How long do charges last?", finds(by, s.Workshop.HowLong)},
		{"GET /api/v1/openings/evidence", technicians, "List every version of what openings teach, the newest first", lists(s.Workshop.EvidenceVersions)},
		{"GET /api/v1/openings/whenlook", technicians, "When should a charge be looked at?", lists(s.whenLook)},
		{"GET /api/v1/openings/cases", technicians, "List the lives of all charges on record", lists(s.Workshop.CaseLines)},
		{"GET /api/v1/openings/lives", technicians, "The rows that the answer of one origin and build rests on", sends(typeCSV, livesQuestions(), s.exportLives)},
		{"GET /api/v1/openings/watches", technicians, "List the patterns under watch with what has come of them", lists(s.Workshop.Watches)},
		{"POST /api/v1/openings/watches", technicians, "Put a pattern under watch, to be tested on later lives", writes(s, body[loops.PatternWatch](), s.Workshop.AddWatch)},
		{"GET /api/v1/openings/summary", technicians, "What a maker may be shown about loops with a trait", reads(ofTrait(), s.summary)},
		{"GET /api/v1/openings/summary.csv", technicians, "The summary as a table", sends(typeCSV, ofTrait(), s.exportSummary)},
	}
}

func (s *server) mailRoutes() []route {
	key := must("key", "the message's key", anyWord())
	return []route{
		{"POST /api/v1/sweep", technicians, "Compose and deliver what is due", answers(s.sweep)},
		{"GET /api/v1/outbox", technicians, "List the messages", reads(messageFilter(), s.messages)},
		{"GET /api/v1/outbox/message", technicians, "One message as it was written", reads(key, s.message)},
		{"POST /api/v1/outbox/message", technicians, "Retry, hold, release or drop a message", writes(s, body[MessageAction](), s.doToMessage)},
		{"GET /api/v1/suppressed", technicians, "List the addresses that were given up", all(s, reader.Suppressions)},
		{"POST /api/v1/suppressed/allow", technicians, "Let mail go to an address again", writes(s, body[AllowedAddress](), s.allow)},
		{"POST /api/v1/bounces", technicians, "Take in a mail that came back", writes(s, bytesOf(typeMail), s.bounce)},
	}
}

func (s *server) fileRoutes() []route {
	table := wordInPath[workshop.TableName]("table")
	dryRun := may("dry_run", "find what is wrong and write nothing", yesNo())
	return []route{
		{"GET /api/v1/tables/{table}", technicians, "A list as a table", sends(typeCSV, table, s.exportTable)},
		{"POST /api/v1/tables/{table}", technicians, "Put a table of new records on record, all of it or nothing", asks2(dryRun, bytesOf(typeCSV), s.importTable)},
		{"GET /api/v1/export", technicians, "The whole register, one JSON document a line", sends(typeLines, nothing(), s.exportAll)},
		{"POST /api/v1/backup", ownComputer, "Write a backup into a new folder, or as the schedule does", asks(body[BackupTo](), s.backup)},
		{"GET /api/v1/backups", ownComputer, "List the backups by schedule", lists(s.backups)},
		{"POST /api/v1/compact", ownComputer, "Give back the file's free room and remove photos of forms that were given up", answers(s.compact)},
		{"GET /api/v1/doctor", technicians, "Whether all is well, a line a check", answers(s.examine)},
		{"GET /api/v1/check", technicians, "Check the whole file", answers(s.check)},
	}
}

// Who may sign in is decided on the computer itself: a browser left signed in
// lets nobody in for good.
func (s *server) technicianRoutes() []route {
	name := wordInPath[string]("name")
	return []route{
		{"GET /api/v1/technicians", technicians, "List who may sign in", lists(s.Gate.Technicians)},
		{"POST /api/v1/first-link", ownComputer, "The link with which the first technician sets a password", writes(s, nothing(), s.firstLink)},
		{"POST /api/v1/technicians", ownComputer, "Let a technician sign in", writes(s, body[NewTechnician](), s.addTechnician)},
		{"POST /api/v1/technicians/{name}/password", ownComputer, "Set a technician's password", writes2(s, name, body[NewPassword](), s.setPasswordOf)},
		{"POST /api/v1/technicians/{name}/link", ownComputer, "A link that sets a technician's password once", writes(s, name, s.newPasswordLink)},
		{"DELETE /api/v1/technicians/{name}", ownComputer, "Let a technician sign in no longer", writes(s, name, s.removeTechnician)},
	}
}
