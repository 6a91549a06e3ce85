// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"reflect"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// retell puts what tell makes of them in the place of the plain texts inside a
// record, and tells whether any changed. Codes, which have types of their own,
// stay; so does who recorded it, and the key of an act.
func retell(record any, tell func(string) string) bool {
	return retold(reflect.ValueOf(record), tell)
}

func retold(v reflect.Value, tell func(string) string) bool {
	changed := false
	switch v.Kind() {
	case reflect.Pointer:
		return !v.IsNil() && retold(v.Elem(), tell)
	case reflect.Struct:
		for f, inside := range v.Fields() {
			if f.IsExported() && f.Name != "By" && f.Name != "Key" {
				changed = retold(inside, tell) || changed
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			changed = retold(v.Index(i), tell) || changed
		}
	case reflect.String:
		if v.Type() != reflect.TypeFor[string]() {
			break
		}
		if told := tell(v.String()); told != v.String() {
			v.SetString(told)
			return true
		}
	}
	return changed
}

// eraseNaming takes the naming texts out of every record that people write
// words into. Histories are folded again where one of their entries changed. In
// the loops that were or are the owner's, the parts of the name go as well.
func eraseNaming(tx engine.Writer, theirs map[uint64]bool, with loops.Erasing) error {
	all := func(text string) string { return with.Parts.Erase(with.Naming.Erase(text)) }
	for _, key := range keysUnder(tx, bucketLoops, nil) {
		tell := with.Naming.Erase
		if theirs[lastID(key)] {
			tell = all
		}
		if err := retellLoop(tx, lastID(key), tell); err != nil {
			return err
		}
	}
	naming := with.Naming.Erase
	return errors.Join(
		retellAll(tx, sampleTable(), func(s loops.RetainedSample) func(string) string {
			if theirs[uint64(s.Loop)] {
				return all
			}
			return naming
		}),
		retellAll(tx, machineTable(), func(loops.Machine) func(string) string { return naming }),
		retellAll(tx, containerTable(), func(loops.Container) func(string) string { return naming }),
		retellAll(tx, instrumentTable(), func(loops.Instrument) func(string) string { return naming }),
		retellAll(tx, watchTable(), func(loops.PatternWatch) func(string) string { return naming }),
		retellAll(tx, usedFluidTable(), func(loops.UsedFluid) func(string) string { return naming }),
	)
}

// retellLoop tells a loop's history and its record again.
func retellLoop(tx engine.Writer, id uint64, tell func(string) string) error {
	l, err := loopTable().get(tx, idKey(id))
	if err != nil {
		return err
	}
	history, err := entryTable().in(tx, engine.Prefix(idKey(id)))
	if err != nil {
		return err
	}
	changed := false
	for i, was := range history {
		if !retell(&history[i], tell) {
			continue
		}
		changed = true
		if err := entryTable().replace(tx, &was, history[i]); err != nil {
			return err
		}
	}
	if changed = retell(&l, tell) || changed; !changed {
		return nil
	}
	l.State = loops.Fold(history)
	return loopTable().rewrite(tx, l)
}

// retellAll tells every record of a kind again in which something changes.
func retellAll[T any](tx engine.Writer, t table[T], how func(T) func(string) string) error {
	for _, key := range keysUnder(tx, t.bucket, nil) {
		r, err := t.get(tx, key)
		if err != nil {
			return err
		}
		if !retell(&r, how(r)) {
			continue
		}
		if t.revision == nil {
			err = t.replace(tx, nil, r)
		} else {
			err = t.rewrite(tx, r)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
