// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// The first and the last line of an export.
const (
	kindStart = "fillmark export"
	kindEnd   = "end"
)

// startV1 is what the first line says: the schema of the file and how many ids
// each counter has handed out.
type startV1 struct {
	Schema   int               `json:"schema"`
	Counters map[string]uint64 `json:"counters"`
}

// endV1 is what the last line says, so that an export that was cut off is
// noticed: how many lines stand before it.
type endV1 struct {
	Lines int `json:"lines"`
}

// Export writes the whole store as it is at one moment as JSON Lines: each
// line one object with the kind of record, its version and the record, the
// first and the last line about the export itself. [Import] makes the same
// store of it, whose export is the same byte for byte. It holds no secret of
// the workshop, but everything about its owners. Indexes are rebuilt, passwords,
// sign-ins and tokens are secrets, and photos are files of their own: none of
// these are in it.
//
// Export holds one read transaction all the while. A file that has to grow
// makes its writers wait for that, so give Export a writer that does not
// block.
func (s *Store) Export(ctx context.Context, w io.Writer) error {
	out := bufio.NewWriter(w)
	err := s.view(func(tx engine.Reader) error { return export(ctx, tx, out) })
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		return fmt.Errorf("store: export: %w", err)
	}
	return nil
}

func export(ctx context.Context, tx engine.Reader, out *bufio.Writer) error {
	schema, err := readSchema(tx)
	if err != nil {
		return err
	}
	counters := map[string]uint64{}
	for _, name := range counted() {
		counters[name] = tx.Sequence(name)
	}
	if err := writeOwn(out, kindStart, startV1{schema, counters}); err != nil {
		return err
	}
	lines := 1
	for _, t := range tables() {
		kind, bucket := t.name()
		if _, exported := t.kept(); !exported {
			continue
		}
		for k, v := range tx.Ascend(bucket, engine.Span{}) {
			if lines++; lines%lastBatch == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			text, err := exportText(bucket, v)
			if err != nil {
				return fmt.Errorf("bucket %s: %s: %w", bucket, printKey(bucket, k), err)
			}
			if err := writeLine(out, kind, text); err != nil {
				return err
			}
		}
	}
	return writeOwn(out, kindEnd, endV1{lines})
}

// exportText is the JSON of a value as it stands in the file, but of a
// technician's without the password.
func exportText(bucket string, stored []byte) ([]byte, error) {
	if bucket != bucketTechnicians {
		return payload(stored)
	}
	t, err := technicianTable().decode(stored)
	if err != nil {
		return nil, err
	}
	return json.Marshal(value[technicianLineV1]{recordV1, technicianLineV1{t.Name, t.Revision, t.Added}})
}

// writeOwn writes a line about the export itself.
func writeOwn[T any](out *bufio.Writer, kind string, record T) error {
	text, err := json.Marshal(value[T]{recordV1, record})
	if err != nil {
		return err
	}
	return writeLine(out, kind, text)
}

// writeLine puts the kind in front of the fields of a value, whose JSON goes out
// exactly as it is.
func writeLine(out *bufio.Writer, kind string, text []byte) error {
	if len(text) < 2 || text[0] != '{' {
		return fmt.Errorf("%w: a value that is no JSON object", loops.ErrDamaged)
	}
	_, err := fmt.Fprintf(out, "{\"kind\":%q,%s\n", kind, text[1:])
	return err
}
