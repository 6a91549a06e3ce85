// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"github.com/google/renameio/v2"
	bolt "go.etcd.io/bbolt"
)

// copyFile writes all that the transaction sees to a file (mode 0600) that
// appears under its name only when it is whole and on the disk.
func copyFile(tx *bolt.Tx, path string) error {
	file, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o600))
	if err != nil {
		return err
	}
	defer func() { _ = file.Cleanup() }() // does nothing after the replacement
	if _, err := tx.WriteTo(file); err != nil {
		return err
	}
	return file.CloseAtomicallyReplace()
}
