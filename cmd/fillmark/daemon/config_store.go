// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/loops/store"
)

// InDatabase tells that the register is in a database, and not in a file.
func (c Config) InDatabase() bool { return store.InDatabase(c.Store) }

// Beside is the folder in which keys, photos, mail and the socket lie: that of the
// register's file, or the one that is set for a register in a database.
func (c Config) Beside() string {
	if c.InDatabase() {
		return c.Folder
	}
	return filepath.Dir(c.Store)
}

// photos is the folder of them.
func (c Config) photos() photos.Folder { return photos.Folder(filepath.Join(c.Beside(), PhotosFolder)) }

// storeProblems are what cannot be about where the register is.
func (c Config) storeProblems() (found []error) {
	wrong := func(key, value, right string) {
		found = append(found, &loops.InvalidError{Field: key, Value: value, Reason: right})
	}
	scheme, _, address := strings.Cut(c.Store, "://")
	hidden := scheme + "://…" // it may hold a password
	switch {
	case c.Store == "":
		wrong("store", c.Store, "the path of the register; without HOME there is no default")
	case address && !c.InDatabase():
		wrong("store", hidden, "the path of a file on this computer, or postgres://USER@HOST/DATABASE")
	case !address && c.Folder != "":
		wrong("folder", c.Folder, "none: keys, photos and mail lie in the folder of the register's file")
	}
	if !c.InDatabase() {
		return found
	}
	if err := store.CheckAddress(c.Store); err != nil {
		wrong("store", hidden, err.Error())
	}
	if !filepath.IsAbs(c.Folder) {
		wrong("folder", c.Folder, "the whole path of a folder for keys, photos, mail and the socket, since the register is in a database")
	}
	if c.Backup.Folder != "" {
		wrong("backup.folder", c.Backup.Folder, "none: a database is backed up with its own tools, together with the folder of keys and photos (doc/operations.md)")
	}
	return found
}

// RegisterThere tells whether there is a register where the configuration has it.
func (c Config) RegisterThere() (bool, error) {
	if err := c.keptPassfile(); err != nil {
		return false, err
	}
	return store.There(c.Store)
}

// keptPassfile refuses a file with the database's password that others may read, or
// that is not there.
func (c Config) keptPassfile() error {
	file := store.PasswordFile(c.Store)
	if file == "" {
		return nil
	}
	if err := keptSecret(file); err != nil {
		return fmt.Errorf("store: passfile: %w", err)
	}
	return nil
}

// OpenWaiting is [Open], and waits for a database that does not answer until it does
// or the context ends.
func OpenWaiting(ctx context.Context, c Config, now func() time.Time, log *slog.Logger) (*Service, error) {
	const pause = 2 * time.Second
	for waited := false; ; waited = true {
		h, err := Open(c, now, log)
		switch {
		case !errors.Is(err, loops.ErrAway):
			if waited && err == nil {
				log.Info("the register's database answers")
			}
			return h, err
		case !waited:
			log.Warn("waiting for the register's database", "error", err)
		}
		tellSystem(log, "EXTEND_TIMEOUT_USEC=60000000") // systemd has us wait, too
		select {
		case <-ctx.Done():
			return nil, err
		case <-time.After(pause):
		}
	}
}
