// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package backups_test

import (
	"archive/tar"
	"errors"
	"os"

	"filippo.io/age"
)

// packed writes an encrypted archive with one file of any name.
func packed(file, name string, to age.Recipient) error {
	out, err := os.Create(file)
	if err != nil {
		return err
	}
	secret, err := age.Encrypt(out, to)
	if err != nil {
		return errors.Join(err, out.Close())
	}
	archive := tar.NewWriter(secret)
	err = archive.WriteHeader(&tar.Header{Name: name, Size: 1, Mode: 0o600})
	_, wrote := archive.Write([]byte("x"))
	return errors.Join(err, wrote, archive.Close(), secret.Close(), out.Close())
}
