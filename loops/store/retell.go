// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"reflect"
	"slices"

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
	tellSample := func(s loops.RetainedSample) func(string) string {
		if theirs[uint64(s.Loop)] {
			return all
		}
		return with.Naming.Erase
	}
	if err := retellKind(tx, sampleKind(), tellSample); err != nil {
		return err
	}
	if err := retellKind(tx, machineKind(), everywhere[loops.Machine](with)); err != nil {
		return err
	}
	if err := retellKind(tx, containerKind(), everywhere[loops.Container](with)); err != nil {
		return err
	}
	if err := retellKind(tx, instrumentKind(), everywhere[loops.Instrument](with)); err != nil {
		return err
	}
	if err := retellLines(tx, bucketWatches, decodeWatch, encodeWatch, with.Naming.Erase); err != nil {
		return err
	}
	return retellLines(tx, bucketUsedFluid, decodeUsedFluid, encodeUsedFluid, with.Naming.Erase)
}

// everywhere is how the records are told that are of no one loop.
func everywhere[T any](with loops.Erasing) func(T) func(string) string {
	return func(T) func(string) string { return with.Naming.Erase }
}

// retellLoop tells a loop's history and its record again.
func retellLoop(tx engine.Writer, id uint64, tell func(string) string) error {
	l, err := loopKind().get(tx, id)
	if err != nil {
		return err
	}
	keys, history, err := keyedHistory(tx, l.ID)
	if err != nil {
		return err
	}
	changed := false
	for i := range history {
		if !retell(&history[i], tell) {
			continue
		}
		changed = true
		v, err := encodeEntry(history[i])
		if err != nil {
			return err
		}
		if err := tx.Put(bucketHistory, keys[i], v); err != nil {
			return err
		}
	}
	if changed = retell(&l, tell) || changed; !changed {
		return nil
	}
	l.State = loops.Fold(history)
	return loopKind().rewrite(tx, l)
}

// retellKind tells every record of a kind again in which something changes.
func retellKind[T any](tx engine.Writer, k kind[T], how func(T) func(string) string) error {
	for _, key := range keysUnder(tx, k.bucket, nil) {
		r, err := k.get(tx, lastID(key))
		if err != nil {
			return err
		}
		if !retell(&r, how(r)) {
			continue
		}
		if err := k.rewrite(tx, r); err != nil {
			return err
		}
	}
	return nil
}

// retellLines does so where records have no revision.
func retellLines[T any](tx engine.Writer, name string, decode func([]byte) (T, error), encode func(T) ([]byte, error), tell func(string) string) error {
	for _, key := range keysUnder(tx, name, nil) {
		r, err := decode(slices.Clone(tx.Get(name, key)))
		if err != nil {
			return fmt.Errorf("bucket %s: %s: %w", name, printKey(name, key), err)
		}
		if !retell(&r, tell) {
			continue
		}
		v, err := encode(r)
		if err != nil {
			return err
		}
		if err := tx.Put(name, key, v); err != nil {
			return err
		}
	}
	return nil
}
