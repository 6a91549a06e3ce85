// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"os"
	"slices"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// migration brings a file from one schema version to the next inside one
// transaction.
type migration struct {
	what  string
	apply func(engine.Writer) error
}

// migrations is append-only: entry n brings schema n+1 to n+2, and one that
// was published is never edited. Schema 1 is what [initialise] makes.
func migrations() []migration { return nil }

const keySchema = "schema"

type schemaV1 struct {
	Schema int `json:"schema"`
}

func putSchema(tx engine.Writer, schema int) error {
	v, err := encode(recordV1, schemaV1{schema})
	if err != nil {
		return err
	}
	return tx.Put(bucketMeta, []byte(keySchema), v)
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
			if err := step.apply(tx); err != nil {
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
