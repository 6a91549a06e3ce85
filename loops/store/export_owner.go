// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// kindOwnerStart begins the export of one owner, which no store can be made of.
const kindOwnerStart = "fillmark owner export"

// ownerStartV1 is what the first line of it says.
type ownerStartV1 struct {
	Owner loops.OwnerID `json:"owner"`
}

// ExportOwner writes all that is on record about one owner as JSON Lines of
// the kinds that [Store.Export] writes: the owner, the machines they have now,
// the loops in these with their histories, what is of the owner's time in the
// histories of machines that went to somebody else, the mail to the owner with
// its text, and whether their address takes no mail. Of another owner's time in
// a machine that is theirs now there are the measurements, and not what the
// other said. Photos are files of their own. It gives loops.ErrNotFound where
// there is no such owner.
func (s *Store) ExportOwner(id loops.OwnerID, w io.Writer) error {
	out := bufio.NewWriter(w)
	err := s.view(func(tx engine.Reader) error {
		x := ownerExport{tx: tx, out: out}
		if err := writeOwn(out, kindOwnerStart, ownerStartV1{id}); err != nil {
			return err
		}
		if err := x.owner(id); err != nil {
			return err
		}
		return writeOwn(out, kindEnd, endV1{x.lines + 1})
	})
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		return fmt.Errorf("store: export owner %d: %w", id, err)
	}
	return nil
}

// ownerExport writes lines and counts them.
type ownerExport struct {
	tx    engine.Reader
	out   *bufio.Writer
	lines int
}

func (x *ownerExport) line(kind, name string, key []byte) error {
	stored := x.tx.Get(name, key)
	if stored == nil {
		return fmt.Errorf("%s %s: %w", kind, printKey(name, key), loops.ErrNotFound)
	}
	text, err := payload(stored)
	if err != nil {
		return fmt.Errorf("bucket %s: %s: %w", name, printKey(name, key), err)
	}
	x.lines++
	return writeLine(x.out, kind, text)
}

func (x *ownerExport) owner(id loops.OwnerID) error {
	if err := x.line("owner", bucketOwners, idKey(id)); err != nil {
		return err
	}
	o, err := ownerTable().get(x.tx, idKey(id))
	if err != nil {
		return err
	}
	if key := []byte(strings.ToLower(o.Email)); len(key) > 0 && x.tx.Get(bucketSuppressed, key) != nil {
		if err := x.line("suppressed", bucketSuppressed, key); err != nil {
			return err
		}
	}
	left, err := loopsLeftBy(x.tx, id)
	if err != nil {
		return err
	}
	for _, m := range keysUnder(x.tx, bucketMachinesByOwner, idKey(id)) {
		if err := x.line("machine", bucketMachines, m[idWidth:]); err != nil {
			return err
		}
		for _, l := range keysUnder(x.tx, bucketLoopsByMachine, m[idWidth:]) {
			if err := x.line("loop", bucketLoops, l[idWidth:]); err != nil {
				return err
			}
			if err := x.history(loops.LoopID(lastID(l)), id, true); err != nil {
				return err
			}
			delete(left, lastID(l))
		}
	}
	for _, loop := range slices.Sorted(maps.Keys(left)) {
		if err := x.history(loops.LoopID(loop), id, false); err != nil {
			return err
		}
	}
	return x.messages(id)
}

// history writes the entries of the owner's time as they are, and where the
// loop is theirs now the others without what somebody else said.
func (x *ownerExport) history(loop loops.LoopID, owner loops.OwnerID, theirs bool) error {
	l, err := loopTable().get(x.tx, idKey(loop))
	if err != nil {
		return err
	}
	m, err := machineTable().get(x.tx, idKey(l.Machine))
	if err != nil {
		return err
	}
	history, err := entryTable().in(x.tx, engine.Prefix(idKey(loop)))
	if err != nil {
		return err
	}
	view := loops.ViewFor(owner, m.Owner, history)
	entries := view.Own()
	if theirs {
		entries = view.Entries()
	}
	for _, e := range entries {
		if err := x.entry(e); err != nil {
			return err
		}
	}
	return nil
}

// entry writes an entry as the owner may see it.
func (x *ownerExport) entry(e loops.Entry) error {
	v, err := encodeEntry(e)
	if err != nil {
		return err
	}
	text, err := payload(v)
	if err != nil {
		return err
	}
	x.lines++
	return writeLine(x.out, "entry", text)
}

func (x *ownerExport) messages(id loops.OwnerID) error {
	for k, v := range x.tx.Ascend(bucketMessages, engine.Span{}) {
		m, err := decodeMessage(v)
		if err != nil {
			return fmt.Errorf("bucket messages: %s: %w", k, err)
		}
		if m.Owner != id {
			continue
		}
		if err := x.line("message", bucketMessages, k); err != nil {
			return err
		}
		if x.tx.Get(bucketBodies, k) == nil {
			continue // deleted
		}
		if err := x.line("body", bucketBodies, k); err != nil {
			return err
		}
	}
	return nil
}
