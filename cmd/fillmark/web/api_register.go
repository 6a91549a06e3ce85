// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// registerRoutes lists the routes of the register: people, machines, loops,
// the shelf, and the file as a whole.
func (s *server) registerRoutes(handle func(pattern string, h http.Handler)) {
	handle("GET /api/v1/owners", s.api(s.apiFindOwners))
	handle("GET /api/v1/owners/{id}", s.api(s.apiOwner))
	handle("PUT /api/v1/owners/{id}", s.api(s.apiEditOwner))
	handle("GET /api/v1/owners/{id}/export", s.stream("application/x-ndjson", s.exportOwner))
	handle("POST /api/v1/owners/{id}/end-links", s.api(s.apiEndLinks))
	handle("POST /api/v1/owners/{id}/erase", s.api(s.local(s.apiEraseOwner)))
	handle("GET /api/v1/machines", s.api(s.apiFindMachines))
	handle("GET /api/v1/machines/{id}", s.api(s.apiMachine))
	handle("PUT /api/v1/machines/{id}", s.api(s.apiEditMachine))
	handle("GET /api/v1/loops", s.api(s.apiFindLoops))
	handle("PUT /api/v1/loops/{tag}", s.api(s.apiEditLoop))
	handle("POST /api/v1/loops/{tag}/copy", s.api(s.apiCopyLoop))
	handle("GET /api/v1/loops/{tag}/steps", s.api(s.apiSteps))

	s.shelfRoutes(handle)

	handle("GET /api/v1/tables/{table}", s.stream("text/csv; charset=utf-8; header=present", s.exportTable))
	handle("POST /api/v1/tables/{table}", s.api(s.apiImportTable))
	handle("GET /api/v1/export", s.stream("application/x-ndjson", s.exportAll))
	handle("POST /api/v1/backup", s.api(s.local(s.apiBackup)))
	handle("POST /api/v1/compact", s.api(s.local(s.apiCompact)))
	handle("GET /api/v1/check", s.api(s.apiCheck))
}

// itemsOf makes a list answer.
func itemsOf[T any](items []T, err error) (any, error) { return list[T]{Items: items}, err }

func (s *server) apiFindOwners(r *http.Request) (any, error) {
	var q workshop.OwnerQuery
	p := paramsOf(r)
	take(p, "mail", &q.Mail, mayYesOrNo)
	take(p, "text", &q.Text, words)
	take(p, "sort", &q.ByName, func(text string) (bool, error) {
		_, err := oneOf([]string{"name", "number"})(text)
		return text == "name", err
	})
	if err := p.err(); err != nil {
		return nil, err
	}
	return itemsOf(s.Workshop.FindOwners(q))
}

func (s *server) apiOwner(r *http.Request) (any, error) {
	id, err := idOf[loops.OwnerID](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.OwnerFileOf(id)
}

func (s *server) apiEditOwner(r *http.Request) (any, error) {
	id, err := idOf[loops.OwnerID](r)
	if err != nil {
		return nil, err
	}
	owner, err := decode[loops.Owner](r)
	if err != nil {
		return nil, err
	}
	owner.ID = id
	done, err := s.Workshop.Edit(s.stamp(r), workshop.Edit{Owner: &owner})
	return done.Owner, acts.Owners().Named(err)
}

func (s *server) apiEndLinks(r *http.Request) (any, error) {
	id, err := idOf[loops.OwnerID](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.EndLinks(s.stamp(r), id)
}

func (s *server) apiFindMachines(r *http.Request) (any, error) {
	var q workshop.MachineQuery
	p := paramsOf(r)
	take(p, "owner", &q.Owner, numberOf[loops.OwnerID])
	take(p, "kind", &q.Kind, oneOf(loops.MachineKinds()))
	take(p, "promised", &q.Promised, loops.ParseDay)
	take(p, "text", &q.Text, words)
	take(p, "sort", &q.Sort, oneOf(workshop.MachineOrders()))
	if err := p.err(); err != nil {
		return nil, err
	}
	return itemsOf(s.Workshop.FindMachines(q))
}

func (s *server) apiMachine(r *http.Request) (any, error) {
	id, err := idOf[loops.MachineID](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.MachineFileOf(id)
}

func (s *server) apiEditMachine(r *http.Request) (any, error) {
	id, err := idOf[loops.MachineID](r)
	if err != nil {
		return nil, err
	}
	machine, err := decode[loops.Machine](r)
	if err != nil {
		return nil, err
	}
	machine.ID = id
	done, err := s.Workshop.Edit(s.stamp(r), workshop.Edit{Machine: &machine})
	return done.Machine, acts.Machines().Named(err)
}

func (s *server) apiFindLoops(r *http.Request) (any, error) {
	var q workshop.LoopQuery
	p := paramsOf(r)
	take(p, "owner", &q.Owner, numberOf[loops.OwnerID])
	take(p, "machine", &q.Machine, numberOf[loops.MachineID])
	take(p, "fluid", &q.Fluid, chemistry.ParseFluid)
	take(p, "metal", &q.Metal, chemistry.ParseMetal)
	take(p, "lot", &q.Lot, words)
	take(p, "due", &q.Due, loops.ParseDay)
	take(p, "sealed", &q.Sealed, mayYesOrNo)
	take(p, "where", &q.Where, oneOf(workshop.LoopPlaces()))
	take(p, "sort", &q.Sort, oneOf(workshop.LoopOrders()))
	if err := p.err(); err != nil {
		return nil, err
	}
	return itemsOf(s.Workshop.FindLoops(q))
}

func (s *server) apiEditLoop(r *http.Request) (any, error) {
	tag, err := tagOf(r)
	if err != nil {
		return nil, err
	}
	loop, err := decode[loops.Loop](r)
	if err != nil {
		return nil, err
	}
	loop.Tag = tag
	done, err := s.Workshop.Edit(s.stamp(r), workshop.Edit{Loop: &loop})
	return LoopAnswer{done.Loop, done.Judgement}, acts.Loops().Named(err)
}

// LoopAnswer is a loop that was put right, and what its charge is then judged
// to be.
type LoopAnswer struct {
	loops.Loop
	workshop.Judgement
}

// LoopCopy asks for loops built like another one.
type LoopCopy struct {
	Machine loops.MachineID `json:"machine"`
	Name    string          `json:"name,omitempty"` // empty keeps the name
}

func (s *server) apiCopyLoop(r *http.Request) (any, error) {
	tag, err := tagOf(r)
	if err != nil {
		return nil, err
	}
	wanted, err := decode[LoopCopy](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.CopyLoop(s.stamp(r), tag, wanted.Machine, wanted.Name)
}

func (s *server) apiSteps(r *http.Request) (any, error) {
	tag, err := tagOf(r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.BenchSheetOf(tag)
}
