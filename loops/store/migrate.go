// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// migration brings a file from one schema version to the next inside one
// transaction, and the lines of an export of the older version on their way in.
type migration struct {
	what string
	// values has, for each bucket whose values change, what makes the newer value
	// of the older one: see [upgrade]. An export's line of a technician, which
	// says less than the file, goes by its kind, "technician".
	values map[string]func(stored []byte) ([]byte, error)
	// apply does the rest in a file, as where keys move; nil where there is none.
	apply func(engine.Writer) error
}

// upgrade makes a value of one version of another, by the conversion.
func upgrade[Old, New any](from, to int, convert func(Old) New) func([]byte) ([]byte, error) {
	return func(stored []byte) ([]byte, error) {
		old, err := decode[Old](from, stored)
		if err != nil {
			return nil, err
		}
		return encode(to, convert(old))
	}
}

// migrations is append-only: entry n brings schema n+1 to n+2, and one that
// was published is never edited. Schema 1 is what [initialise] makes.
func migrations() []migration { return nil }

type schemaV1 struct {
	Schema int `json:"schema"`
}

func putSchema(tx engine.Writer, schema int) error {
	return putMetaIn(tx, keySchema, schemaV1{schema})
}

// readSchema returns the file's schema version. A bbolt file without one gives
// [loops.ErrForeign]; one that holds nothing at all gives [loops.ErrDamaged], since a store
// is never made in the file that it will be.
func readSchema(tx engine.Reader) (int, error) {
	if there := tx.Buckets(); !slices.Contains(there, bucketMeta) {
		if len(there) > 0 {
			return 0, fmt.Errorf("%w: it holds a bucket %q and no schema version", loops.ErrForeign, there[0])
		}
		return 0, fmt.Errorf("%w: it holds nothing", loops.ErrDamaged)
	}
	stored := tx.Get(bucketMeta, []byte(keySchema))
	if stored == nil {
		return 0, fmt.Errorf("%w: it has no schema version", loops.ErrForeign)
	}
	v, err := decode[schemaV1](recordV1, stored)
	if err != nil {
		return 0, fmt.Errorf("meta/schema: %w", err)
	}
	return v.Schema, nil
}

// prepare makes what was opened one of the newest schema, or refuses it.
func prepare(kept engine.Engine, path string, opts Options, list []migration) error {
	newest := len(list) + 1
	var schema int
	err := kept.View(func(tx engine.Reader) (err error) {
		schema, err = readSchema(tx)
		return err
	})
	switch {
	case err != nil:
		return err
	case schema < 1:
		return fmt.Errorf("%w: schema %d", loops.ErrForeign, schema)
	case schema > newest:
		return fmt.Errorf("%w (its schema is %d, this program knows %d)", loops.ErrNewer, schema, newest)
	case opts.ReadOnly && schema < newest:
		return fmt.Errorf("its schema is %d, this program reads %d; open it once for writing to migrate it", schema, newest)
	case opts.ReadOnly:
		return nil
	case schema < newest:
		if err := keepBefore(kept, path, schema); err != nil {
			return fmt.Errorf("backup before migrating: %w", err)
		}
	}
	return migrate(kept, schema, list)
}

// migrate applies the steps that are missing, each in a transaction that also
// raises the version, so that a kill between two leaves a whole file.
func migrate(kept engine.Engine, schema int, list []migration) error {
	for ; schema < len(list)+1; schema++ {
		step := list[schema-1]
		err := kept.Update(func(tx engine.Writer) error {
			// Another process may have been faster where several have one database open.
			if now, err := readSchema(tx); err != nil || now > schema {
				return err
			}
			if err := makeBuckets(tx); err != nil {
				return err
			}
			if err := step.run(tx); err != nil {
				return err
			}
			return putSchema(tx, schema+1)
		})
		if err != nil {
			return fmt.Errorf("migration to schema %d (%s): %w", schema+1, step.what, err)
		}
	}
	return nil
}

// run takes the step in a file.
func (m migration) run(tx engine.Writer) error {
	for _, bucket := range slices.Sorted(maps.Keys(m.values)) {
		for next := []byte{}; next != nil; {
			var err error
			if next, err = rewriteFrom(tx, bucket, next, m.values[bucket]); err != nil {
				return err
			}
		}
	}
	if m.apply == nil {
		return nil
	}
	return m.apply(tx)
}

// rewriteFrom rewrites some values of the bucket, from the key on, and returns
// the key after them; nil at the end. Nothing is put while keys are read.
func rewriteFrom(tx engine.Writer, bucket string, from []byte, rewrite func([]byte) ([]byte, error)) (next []byte, err error) {
	rewritten := map[string][]byte{}
	for k, v := range tx.Ascend(bucket, engine.Span{From: from}) {
		if len(rewritten) == lastBatch {
			next = bytes.Clone(k)
			break
		}
		if rewritten[string(k)], err = rewrite(v); err != nil {
			return nil, fmt.Errorf("bucket %s: %s: %w", bucket, printKey(bucket, k), err)
		}
	}
	for k, v := range rewritten {
		if err := tx.Put(bucket, []byte(k), v); err != nil {
			return nil, err
		}
	}
	return next, nil
}

// keepBefore copies a file as it was to "<path>.schema-<n>", where a copy
// that is already there was made by an earlier attempt and stays.
func keepBefore(kept engine.Engine, path string, schema int) error {
	file, ok := kept.(engine.File)
	if !ok {
		return nil // whoever looks after its database has its copies
	}
	copyPath := fmt.Sprintf("%s.schema-%d", path, schema)
	if _, err := os.Stat(copyPath); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return file.Copy(copyPath, func(engine.Reader) error { return nil }, func(string) error { return nil })
}
