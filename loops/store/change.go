// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"strings"

	"fillmark/loops"
)

// encodedChange is a change of which everything is encoded that does not
// depend on what is in the file.
type encodedChange struct {
	owners      []encoded[loops.Owner]
	machines    []encoded[loops.Machine]
	loops       []encoded[loops.Loop]
	entries     []encoded[loops.Entry]
	messages    []encoded[loops.Message]
	bodies      [][]byte // of messages, in their order
	containers  []encoded[loops.Container]
	usedFluid   []encoded[loops.UsedFluid]
	instruments []encoded[loops.Instrument]
	samples     []encoded[loops.RetainedSample]
	mail        *loops.MailRead // nil for none
	mailValue   []byte
	audit       []byte
}

func (e *encodedChange) empty() bool {
	return e.mail == nil && len(e.owners)+len(e.machines)+len(e.loops)+len(e.entries)+
		len(e.messages)+
		len(e.containers)+len(e.usedFluid)+len(e.instruments)+len(e.samples) == 0
}

// encodeChange checks what can be checked without the file and encodes the
// records with their revisions raised.
func encodeChange(c loops.Change) (e *encodedChange, err error) {
	if c.At.IsZero() || c.By == "" || c.Action == "" {
		return nil, errors.New("a change says when it happened, who did it and what it was")
	}
	e = new(encodedChange)
	for _, step := range []func() error{
		func() (err error) { e.owners, err = ownerKind().prepare(c.Owners); return err },
		func() (err error) { e.machines, err = machineKind().prepare(c.Machines); return err },
		func() (err error) { e.loops, err = loopKind().prepare(c.Loops); return err },
		func() error { return e.addEntries(c) },
		func() error { return e.addMessages(c) },
		func() (err error) { e.containers, err = containerKind().prepare(c.Shelf.Containers); return err },
		func() (err error) { e.instruments, err = instrumentKind().prepare(c.Shelf.Instruments); return err },
		func() (err error) { e.samples, err = sampleKind().prepare(c.Shelf.Samples); return err },
		func() error { return e.addUsedFluid(c) },
		func() (err error) {
			if e.mail = c.Mail; c.Mail != nil {
				e.mailValue, err = encode(recordV1, mailReadV1{c.At.UTC(), mailPlaceV1(c.Mail.Place)})
			}
			return err
		},
	} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	e.audit, err = encodeAudit(loops.AuditLine{At: c.At, By: c.By, Action: c.Action, On: subjects(c)})
	return e, err
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
	for _, x := range c.Shelf.Containers {
		on = append(on, fmt.Sprintf("container %d", x.ID))
	}
	for _, x := range c.Shelf.UsedFluid {
		on = append(on, fmt.Sprintf("used fluid %d", x.ID))
	}
	for _, x := range c.Shelf.Instruments {
		on = append(on, fmt.Sprintf("instrument %d", x.ID))
	}
	for _, x := range c.Shelf.Samples {
		on = append(on, fmt.Sprintf("sample %d", x.ID))
	}
	if more := len(on) - maxSubjects; more > 0 {
		on = append(on[:maxSubjects], fmt.Sprintf("%d more", more))
	}
	return strings.Join(on, ", ")
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
		body, err := encode(recordV1, bodyV1{m.Key, m.Raw})
		if err != nil {
			return fmt.Errorf("message %s: %w", m.Key, err)
		}
		e.messages = append(e.messages, encoded[loops.Message]{m, key, v})
		e.bodies = append(e.bodies, body)
	}
	return nil
}
