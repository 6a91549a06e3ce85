// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// historyOf reads a loop's whole history and finds gaps in its numbers.
func historyOf(tx engine.Reader, l loops.Loop) ([]loops.Entry, error) {
	var history []loops.Entry
	for _, v := range tx.Ascend(bucketHistory, engine.Prefix(idKey(l.ID))) {
		e, err := decodeEntry(v)
		if err != nil {
			return nil, errors.New("its state cannot be compared: its history is damaged")
		}
		history = append(history, e)
		if e.ID != loops.EntryID(len(history)) {
			return nil, fmt.Errorf("its history has entry %d in place %d", e.ID, len(history))
		}
	}
	if last := loops.EntryID(len(history)); last != l.LastEntry {
		return nil, fmt.Errorf("its last entry is given as %d, its history ends with %d", l.LastEntry, last)
	}
	return history, nil
}

// refold folds the state of every loop from its history: what an export says of
// it may come from a program that folded otherwise. Histories are taken as they
// are, whatever would speak against them today: they have been judged.
func refold(ctx context.Context, kept engine.Engine) error {
	next := []byte{}
	for next != nil {
		if err := ctx.Err(); err != nil {
			return err
		}
		from := next
		err := kept.Update(func(tx engine.Writer) (err error) {
			next, err = refoldFrom(tx, from)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// refoldFrom folds some loops, from the key on, and returns the key after them;
// nil at the end.
func refoldFrom(tx engine.Writer, from []byte) (next []byte, err error) {
	folded := map[string][]byte{}
	for k, v := range tx.Ascend(bucketLoops, engine.Span{From: from}) {
		if len(folded) == lastBatch {
			next = bytes.Clone(k)
			break
		}
		l, err := decodeLoop(v)
		if err != nil {
			return nil, err
		}
		history, err := historyOf(tx, l)
		if err != nil {
			return nil, fmt.Errorf("loop %d: %w", l.ID, err)
		}
		l.State = loops.Fold(history)
		if folded[string(k)], err = encodeV1(l); err != nil {
			return nil, err
		}
	}
	for k, v := range folded {
		if err := tx.Put(bucketLoops, []byte(k), v); err != nil {
			return nil, err
		}
	}
	return next, nil
}
