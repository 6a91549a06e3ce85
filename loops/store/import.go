// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"fillmark/loops"
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
	for _, x := range exported() {
		if x.kind == kind && x.bucket != bucketTechnicians {
			bucket = x.bucket
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
	return map[string]func(engine.Writer, []byte) error{
		"owner":      importKind(bucketOwners, decodeOwner, encodeOwner, func(_ engine.Writer, o loops.Owner) ([]byte, error) { return idKey(o.ID), nil }),
		"machine":    importKind(bucketMachines, decodeMachine, encodeMachine, indexMachine),
		"loop":       importKind(bucketLoops, decodeLoop, encodeLoop, indexLoop),
		"entry":      importKind(bucketHistory, decodeEntry, encodeEntry, indexEntry),
		"message":    importKind(bucketMessages, decodeMessage, encodeMessage, indexMessage),
		"body":       importKind(bucketBodies, decodeBody, encodeBody, func(_ engine.Writer, b bodyV1) ([]byte, error) { return messageKey(b.Key) }),
		"sent":       importKind(bucketSent, decodeSent, encodeSent, func(_ engine.Writer, s loops.Sent) ([]byte, error) { return sentKey(s) }),
		"container":  importKind(bucketContainers, decodeContainer, encodeContainer, func(_ engine.Writer, c loops.Container) ([]byte, error) { return idKey(c.ID), nil }),
		"used fluid": importKind(bucketUsedFluid, decodeUsedFluid, encodeUsedFluid, func(_ engine.Writer, u loops.UsedFluid) ([]byte, error) { return idKey(u.ID), nil }),
		"instrument": importKind(bucketInstruments, decodeInstrument, encodeInstrument, func(_ engine.Writer, i loops.Instrument) ([]byte, error) { return idKey(i.ID), nil }),
		"sample":     importKind(bucketSamples, decodeSample, encodeSample, func(_ engine.Writer, s loops.RetainedSample) ([]byte, error) { return idKey(s.ID), nil }),
		"suppressed": importKind(bucketSuppressed, decodeSuppression, encodeSuppression, func(_ engine.Writer, x loops.Suppression) ([]byte, error) { return appendText(nil, x.Address) }),
		"evidence":   importKind(bucketEvidence, decodeEvidence, encodeEvidence, func(_ engine.Writer, e loops.Evidence) ([]byte, error) { return idKey(e.Version), nil }),
		"watch":      importKind(bucketWatches, decodeWatch, encodeWatch, func(_ engine.Writer, w loops.PatternWatch) ([]byte, error) { return idKey(w.ID), nil }),
		"technician": importKind(bucketTechnicians, decodeTechnicianLine, encodeTechnician, func(_ engine.Writer, t loops.Technician) ([]byte, error) { return appendText(nil, t.Folded()) }),
		"audit": importKind(bucketAudit, decodeAudit, encodeAudit, func(tx engine.Writer, _ loops.AuditLine) ([]byte, error) {
			n, err := engine.NextSequence(tx, bucketAudit)
			return idKey(n), err
		}),
	}
}

// importKind decodes a record, puts its index lines, which gives its key, and
// puts the record itself.
func importKind[T any](name string, decode func([]byte) (T, error), encode func(T) ([]byte, error), index func(engine.Writer, T) ([]byte, error)) func(engine.Writer, []byte) error {
	var last []byte // the greatest key so far: none behind it stands there, and an export has them in order
	return func(tx engine.Writer, stored []byte) error {
		r, err := decode(stored)
		if err != nil {
			return err
		}
		key, err := index(tx, r)
		if err != nil {
			return err
		}
		v, err := encode(r)
		if err != nil {
			return err
		}
		if bytes.Compare(key, last) > 0 {
			last = key
		} else if tx.Get(name, key) != nil {
			return fmt.Errorf("%s stands there twice", printKey(name, key))
		}
		return tx.Put(name, key, v)
	}
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

// indexEntry notes the key that an act was sent with. A key that came again
// once it was forgotten stands for both; the older one is forgotten with the
// next pass.
func indexEntry(tx engine.Writer, e loops.Entry) ([]byte, error) {
	if e.Key == "" {
		return pairKey(e.Loop, e.ID), nil
	}
	return pairKey(e.Loop, e.ID), tx.Put(bucketActKeys, actKey(e), nil)
}

func indexMachine(tx engine.Writer, m loops.Machine) ([]byte, error) {
	return idKey(m.ID), tx.Put(bucketMachinesByOwner, pairKey(m.Owner, m.ID), nil)
}

func indexLoop(tx engine.Writer, l loops.Loop) ([]byte, error) {
	if err := moveTag(tx, loops.Loop{}, l, false); err != nil {
		return nil, err
	}
	for _, d := range l.Dues() {
		key, err := dueKey(d)
		if err != nil {
			return nil, err
		}
		if err := tx.Put(bucketDue, key, nil); err != nil {
			return nil, err
		}
	}
	return idKey(l.ID), tx.Put(bucketLoopsByMachine, pairKey(l.Machine, l.ID), nil)
}

func indexMessage(tx engine.Writer, m loops.Message) ([]byte, error) {
	key, err := messageKey(m.Key)
	if err != nil {
		return nil, err
	}
	recent, err := instantKey(m.Created, m.Key)
	if err != nil {
		return nil, err
	}
	if err := tx.Put(bucketRecent, recent, nil); err != nil {
		return nil, err
	}
	if m.Status == loops.Queued {
		err = putOutbox(tx, m)
	}
	return key, err
}
