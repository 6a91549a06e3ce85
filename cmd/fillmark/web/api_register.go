// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (s *server) changeOwner(stamp workshop.Stamp, id loops.OwnerID, owner loops.Owner) (loops.Owner, error) {
	owner.ID = id
	done, err := s.Workshop.Edit(stamp, workshop.Edit{Owner: &owner})
	return done.Owner, acts.Owners().Named(err)
}

func (s *server) changeMachine(stamp workshop.Stamp, id loops.MachineID, machine loops.Machine) (loops.Machine, error) {
	machine.ID = id
	done, err := s.Workshop.Edit(stamp, workshop.Edit{Machine: &machine})
	return done.Machine, acts.Machines().Named(err)
}

// LoopAnswer is a loop that was put right, and what its charge is then judged
// to be.
type LoopAnswer struct {
	loops.Loop
	workshop.Judgement
}

func (s *server) changeLoop(stamp workshop.Stamp, tag loops.Tag, loop loops.Loop) (LoopAnswer, error) {
	loop.Tag = tag
	done, err := s.Workshop.Edit(stamp, workshop.Edit{Loop: &loop})
	return LoopAnswer{done.Loop, done.Judgement}, acts.Loops().Named(err)
}
