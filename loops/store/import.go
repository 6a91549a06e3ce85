// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"fillmark/loops/store/engine"
)

// MaxLine bounds one line of an import, in bytes. The longest records are the
// texts of messages.
const MaxLine = 8 << 20

// Import makes a new store of an [Store.Export]. Every line is decoded
// strictly, the indexes are rebuilt, every loop's state is folded from its
// history, and the whole store is checked before it appears at path, where nothing may be yet. An error names the line that is
// wrong, and nothing is left behind. The records are taken as they are, since
// what one store accepted another must be able to give back: foreign data
// comes in by the tables that the commands read. An export of an older schema
// takes the steps that a file of it takes.
func Import(ctx context.Context, path string, r io.Reader) error {
	return importWith(ctx, path, r, migrations())
}

// importWith is [Import] with the list of migrations given.
func importWith(ctx context.Context, path string, r io.Reader, list []migration) error {
	err := createEngine(path, func(kept engine.Engine) error { return fillFrom(ctx, kept, r, list) })
	if err != nil {
		return fmt.Errorf("store: import: %w", err)
	}
	return nil
}

// fillFrom reads the lines into what is new and checks it.
func fillFrom(ctx context.Context, kept engine.Engine, r io.Reader, list []migration) error {
	if err := kept.Update(func(tx engine.Writer) error { return initialise(tx, len(list)+1) }); err != nil {
		return err
	}
	in := importer{lines: bufio.NewScanner(r), kinds: importers(), steps: list}
	in.lines.Buffer(nil, MaxLine)
	for !in.ended {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := kept.Update(in.batch); err != nil {
			return fmt.Errorf("line %d: %w", in.number, err)
		}
	}
	if in.lines.Scan() {
		return fmt.Errorf("line %d: text after the end", in.number+1)
	}
	if err := in.lines.Err(); err != nil {
		return err
	}
	if err := refold(ctx, kept); err != nil {
		return err
	}
	report, err := check(ctx, kept)
	if err == nil && !report.OK() {
		err = fmt.Errorf("the records do not fit together (%d problems, the first: %s)", len(report.Problems), report.Problems[0])
	}
	return err
}

// importer reads the lines of an export.
type importer struct {
	lines  *bufio.Scanner
	kinds  map[string]func(engine.Writer, []byte) error
	steps  []migration // from schema 1, then from that of the export
	number int         // of the line that was read last
	ended  bool
}

// batch imports some lines in one transaction.
func (in *importer) batch(tx engine.Writer) error {
	for range lastBatch {
		if !in.lines.Scan() {
			if err := in.lines.Err(); err != nil {
				return err
			}
			return errors.New("the export is cut off: its last line is missing")
		}
		in.number++
		if err := in.line(tx, in.lines.Bytes()); err != nil || in.ended {
			return err
		}
	}
	return nil
}

// line imports one line.
func (in *importer) line(tx engine.Writer, text []byte) error {
	var l struct {
		Kind    string          `json:"kind"`
		Version int             `json:"v"`
		Record  json.RawMessage `json:"record"`
	}
	if err := strict(text, &l); err != nil {
		return err
	}
	// The value as it would stand in the file, for the decoders of the file.
	stored, err := encode(l.Version, l.Record)
	if err != nil {
		return err
	}
	switch put, known := in.kinds[l.Kind]; {
	case in.number == 1 && l.Kind != kindStart, in.number > 1 && l.Kind == kindStart:
		return fmt.Errorf("kind %q: an export has one line %q, the first", l.Kind, kindStart)
	case l.Kind == kindStart:
		err = in.start(tx, stored)
	case l.Kind == kindEnd:
		err = in.end(stored)
	case !known:
		return fmt.Errorf("kind %q is none that this program knows", l.Kind)
	default:
		if stored, err = in.newest(l.Kind, stored); err == nil {
			err = put(tx, stored)
		}
	}
	if err != nil {
		return fmt.Errorf("%s: %w", l.Kind, err)
	}
	return nil
}

// newest brings a value of the export to the schema that this program writes.
func (in *importer) newest(kind string, stored []byte) ([]byte, error) {
	bucket := kind
	for _, t := range tables() {
		if is, in := t.name(); is == kind && in != bucketTechnicians {
			bucket = in
		}
	}
	for _, step := range in.steps {
		rewrite, changes := step.values[bucket]
		if !changes {
			continue
		}
		var err error
		if stored, err = rewrite(stored); err != nil {
			return nil, err
		}
	}
	return stored, nil
}

func (in *importer) end(stored []byte) error {
	end, err := decode[endV1](recordV1, stored)
	if err == nil && end.Lines != in.number-1 {
		err = fmt.Errorf("%d lines were exported, %d are there", end.Lines, in.number-1)
	}
	in.ended = err == nil
	return err
}

// importers says how each kind of line is put.
func importers() map[string]func(engine.Writer, []byte) error {
	all := map[string]func(engine.Writer, []byte) error{}
	for _, t := range tables() {
		kind, _ := t.name()
		if _, exported := t.kept(); exported {
			all[kind] = t.importer()
		}
	}
	return all
}

// start reads the schema of the export, leaves out the steps that it has behind
// it, and sets the counters.
func (in *importer) start(tx engine.Writer, stored []byte) error {
	start, err := decode[startV1](recordV1, stored)
	if err != nil {
		return err
	}
	newest := len(in.steps) + 1
	if start.Schema < 1 || start.Schema > newest {
		return fmt.Errorf("the export is of schema %d, this program imports up to %d", start.Schema, newest)
	}
	in.steps = in.steps[start.Schema-1:]
	left := len(start.Counters)
	for _, name := range counted() {
		n, ok := start.Counters[name]
		if !ok && start.Schema == newest { // an older schema may have fewer
			return fmt.Errorf("the counter %q is missing", name)
		}
		if ok {
			left--
		}
		if err := tx.SetSequence(name, n); err != nil {
			return err
		}
	}
	if left != 0 {
		return errors.New("there are counters that this program does not know")
	}
	return nil
}
