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
	bodies      []encoded[bodyV1] // of messages, in their order
	containers  []encoded[loops.Container]
	usedFluid   []encoded[loops.UsedFluid]
	instruments []encoded[loops.Instrument]
	samples     []encoded[loops.RetainedSample]
	mail        *loops.MailRead // nil for none
	mailValue   []byte
	audit       []byte
	on          []string // the records, for the line of the audit
}

// encodeChange checks what can be checked without the file and encodes the
// records with their revisions raised.
func encodeChange(c loops.Change) (e *encodedChange, err error) {
	if c.At.IsZero() || c.By == "" || c.Action == "" {
		return nil, errors.New("a change says when it happened, who did it and what it was")
	}
	e = &encodedChange{mail: c.Mail}
	bodies := make([]bodyV1, len(c.Messages))
	for i, m := range c.Messages {
		bodies[i] = bodyV1{m.Key, m.Raw}
	}
	err = errors.Join(
		ready(e, ownerTable(), c.Owners, &e.owners),
		ready(e, machineTable(), c.Machines, &e.machines),
		ready(e, loopTable(), c.Loops, &e.loops),
		ready(e, entryTable(), c.Entries, &e.entries),
		ready(e, messageTable(), c.Messages, &e.messages),
		ready(e, containerTable(), c.Shelf.Containers, &e.containers),
		ready(e, usedFluidTable(), c.Shelf.UsedFluid, &e.usedFluid),
		ready(e, instrumentTable(), c.Shelf.Instruments, &e.instruments),
		ready(e, sampleTable(), c.Shelf.Samples, &e.samples),
	)
	if err == nil {
		e.bodies, err = bodyTable().prepare(bodies)
	}
	if err == nil && c.Mail != nil {
		e.mailValue, err = encodeV1(mailReadV1{c.At.UTC(), c.Mail.Place})
	}
	if err == nil {
		e.audit, err = encodeAudit(loops.AuditLine{At: c.At, By: c.By, Action: c.Action, On: namedIn(e.on)})
	}
	return e, err
}

func (e *encodedChange) empty() bool { return e.mail == nil && len(e.on) == 0 }

// ready encodes records of one kind and notes what they are called.
func ready[T any](e *encodedChange, t table[T], records []T, into *[]encoded[T]) (err error) {
	*into, err = t.prepare(records)
	for _, r := range *into {
		e.on = append(e.on, t.title(r.record))
	}
	return err
}

// maxSubjects bounds how many records an audit line names.
const maxSubjects = 20

func namedIn(on []string) string {
	if more := len(on) - maxSubjects; more > 0 {
		on = append(on[:maxSubjects], fmt.Sprintf("%d more", more))
	}
	return strings.Join(on, ", ")
}
