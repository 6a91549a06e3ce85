// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"strings"

	"fillmark/loops"
)

// encodeChange checks what can be checked without the file and encodes the
// records with their revisions raised.
func encodeChange(c loops.Change) (*encodedChange, error) {
	var e encodedChange
	for _, step := range []func(loops.Change) error{
		e.addOwners, e.addMachines, e.addLoops, e.addEntries, e.addDues, e.addMessages, e.addSent,
	} {
		if err := step(c); err != nil {
			return nil, err
		}
	}
	if c.At.IsZero() || c.By == "" || c.Action == "" {
		return nil, errors.New("a change says when it happened, who did it and what it was")
	}
	var err error
	e.audit, err = encodeAudit(loops.AuditLine{At: c.At, By: c.By, Action: c.Action, On: subjects(c)})
	return &e, err
}

// maxSubjects bounds how many records an audit line names.
const maxSubjects = 20

// subjects names the records of a change for its audit line.
func subjects(c loops.Change) string {
	var on []string
	for _, o := range c.Owners {
		on = append(on, fmt.Sprintf("owner %d", o.ID))
	}
	for _, m := range c.Machines {
		on = append(on, fmt.Sprintf("machine %d", m.ID))
	}
	for _, l := range c.Loops {
		on = append(on, fmt.Sprintf("loop %d", l.ID))
	}
	for _, e := range c.Entries {
		on = append(on, fmt.Sprintf("entry %d of loop %d", e.ID, e.Loop))
	}
	for _, m := range c.Messages {
		on = append(on, fmt.Sprintf("message %s", m.Key))
	}
	for _, s := range c.Sent {
		on = append(on, fmt.Sprintf("%s reminder of loop %d for %s due %s", s.Stage, s.Loop, s.Task, s.Due))
	}
	if more := len(on) - maxSubjects; more > 0 {
		on = append(on[:maxSubjects], fmt.Sprintf("%d more", more))
	}
	return strings.Join(on, ", ")
}

func (e *encodedChange) addOwners(c loops.Change) error {
	for _, o := range c.Owners {
		if o.ID == 0 {
			return errors.New("an owner without an id")
		}
		raised := o
		raised.Revision++
		v, err := encodeOwner(raised)
		if err != nil {
			return fmt.Errorf("owner %d: %w", o.ID, err)
		}
		e.owners = append(e.owners, encoded[loops.Owner]{o, idKey(o.ID), v})
	}
	return nil
}

func (e *encodedChange) addMachines(c loops.Change) error {
	for _, m := range c.Machines {
		if m.ID == 0 {
			return errors.New("a machine without an id")
		}
		raised := m
		raised.Revision++
		v, err := encodeMachine(raised)
		if err != nil {
			return fmt.Errorf("machine %d: %w", m.ID, err)
		}
		e.machines = append(e.machines, encoded[loops.Machine]{m, idKey(m.ID), v})
	}
	return nil
}

func (e *encodedChange) addLoops(c loops.Change) error {
	for _, l := range c.Loops {
		if l.ID == 0 {
			return errors.New("a loop without an id")
		}
		raised := l
		raised.Revision++
		v, err := encodeLoop(raised)
		if err != nil {
			return fmt.Errorf("loop %d: %w", l.ID, err)
		}
		e.loops = append(e.loops, encoded[loops.Loop]{l, idKey(l.ID), v})
	}
	return nil
}

func (e *encodedChange) addEntries(c loops.Change) error {
	for _, entry := range c.Entries {
		v, err := encodeEntry(entry)
		if err != nil {
			return fmt.Errorf("entry %d of loop %d: %w", entry.ID, entry.Loop, err)
		}
		e.entries = append(e.entries, encoded[loops.Entry]{entry, pairKey(entry.Loop, entry.ID), v})
	}
	return nil
}

func (e *encodedChange) addDues(c loops.Change) error {
	for _, side := range []struct {
		from []loops.Due
		to   *[]encoded[loops.Due]
	}{{c.DueDel, &e.dueDel}, {c.DuePut, &e.duePut}} {
		for _, d := range side.from {
			key, err := dueKey(d)
			if err != nil {
				return fmt.Errorf("due line of loop %d: %w", d.Loop, err)
			}
			*side.to = append(*side.to, encoded[loops.Due]{d, key, nil})
		}
	}
	return nil
}

func (e *encodedChange) addMessages(c loops.Change) error {
	for _, m := range c.Messages {
		key, err := messageKey(m.Key)
		if err != nil {
			return fmt.Errorf("message: %w", err)
		}
		v, err := encodeMessage(m)
		if err != nil {
			return fmt.Errorf("message %s: %w", m.Key, err)
		}
		body, err := encode(recordV1, bodyV1{m.Raw})
		if err != nil {
			return fmt.Errorf("message %s: %w", m.Key, err)
		}
		e.messages = append(e.messages, encoded[loops.Message]{m, key, v})
		e.bodies = append(e.bodies, body)
	}
	return nil
}

func (e *encodedChange) addSent(c loops.Change) error {
	for _, s := range c.Sent {
		key, err := sentKey(s)
		if err != nil {
			return fmt.Errorf("sent mark of loop %d: %w", s.Loop, err)
		}
		v, err := encodeSent(s)
		if err != nil {
			return fmt.Errorf("sent mark of loop %d: %w", s.Loop, err)
		}
		e.sent = append(e.sent, encoded[loops.Sent]{s, key, v})
	}
	return nil
}
