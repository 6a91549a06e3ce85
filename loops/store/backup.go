// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"fillmark/loops"
	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
)

// Backup copies the store as it is at one moment to a new file, while writers
// go on, and then opens the copy and checks all of it. A copy that does not
// pass is removed. A file that is already there is never replaced.
func (s *Store) Backup(ctx context.Context, to string) error {
	return s.backup(ctx, to, func(engine.Reader) error { return nil })
}

// BackupAndExport is [Store.Backup], and writes the export of the same moment,
// read from this store and not from the copy: what the copy exports is the same
// byte for byte, or the copy is not right. It keeps writers waiting no longer
// than [Store.Export] does.
func (s *Store) BackupAndExport(ctx context.Context, to string, exported io.Writer) error {
	return s.backup(ctx, to, func(tx engine.Reader) error {
		out := bufio.NewWriter(exported)
		if err := export(ctx, tx, out); err != nil {
			return err
		}
		return out.Flush()
	})
}

// backup copies what one transaction sees, and lets also read it too.
func (s *Store) backup(ctx context.Context, to string, also func(engine.Reader) error) error {
	file, err := s.file()
	if err == nil {
		err = file.Copy(to, also, func(copied string) error { return verify(ctx, copied, true) })
	}
	if err != nil {
		return fmt.Errorf("store: backup to %s: %w", to, err)
	}
	return nil
}

// verify opens a file without writing to it and checks it, a file of an older
// schema only as far as its pages go.
func verify(ctx context.Context, path string, newestOnly bool) error {
	file, err := bolt.OpenBackup(path)
	if err != nil {
		return err
	}
	return errors.Join(verifyOpen(ctx, file, newestOnly), file.Close())
}

func verifyOpen(ctx context.Context, file *bolt.File, newestOnly bool) error {
	var schema int
	err := file.View(func(tx engine.Reader) (err error) {
		schema, err = readSchema(tx)
		return err
	})
	newest := len(migrations()) + 1
	switch {
	case err != nil:
		return err
	case schema > newest:
		return loops.ErrNewer
	case schema < 1 || newestOnly && schema != newest:
		return fmt.Errorf("%w: schema %d", loops.ErrForeign, schema)
	case schema < newest:
		var c checker
		err := file.Check(func(engine.Reader) error { return nil }, c.file)
		return errors.Join(err, ctx.Err(), c.report.err())
	}
	return sound(ctx)(file)
}

// Restore copies a backup to where there is no store yet, after checking all
// of it. It refuses to overwrite: move the file that is in the way aside. The
// backup may be of an older schema: [Open] migrates it. It may also be a store
// of which [Open] said that one of its two root pages is damaged: what is
// restored is then how it was before its last write.
func Restore(ctx context.Context, from, to string) error {
	if err := restore(ctx, from, to); err != nil {
		return fmt.Errorf("store: restore %s to %s: %w", from, to, err)
	}
	return nil
}

func restore(ctx context.Context, from, to string) error {
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("%w; move it aside first", os.ErrExist)
	}
	if err := verify(ctx, from, false); err != nil {
		return err
	}
	file, err := bolt.OpenBackup(from)
	if err != nil {
		return err
	}
	err = file.Copy(to, func(engine.Reader) error { return nil }, func(string) error { return nil })
	return errors.Join(err, file.Close())
}
