// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
)

// photosMark is the file by which a folder of photos is known again.
const photosMark = ".which"

// sameAsOthers refuses, on a database, a folder with other keys or other photos than
// the daemons before had: owners' links would hold at one and not at another, letters
// bear signatures that nobody can check, photos be shown by the one that took them.
func (c Config) sameAsOthers(register *store.Store, options store.Options) error {
	if !c.InDatabase() || options.ReadOnly {
		return nil
	}
	for _, thing := range []struct {
		what   string
		prints func() ([]string, error)
		right  string
	}{
		{"links.key", c.linkPrints, "keys/links.key of their folder, copied to this one"},
		{"DKIM key", c.dkimPrints, "the DKIM keys of their folder, copied to this one's keys"},
		{"photos", c.photosPrint, "one folder for all of them, mounted or linked as photos in each"},
	} {
		prints, err := thing.prints()
		if err != nil {
			return err
		}
		same, err := register.Same(thing.what, prints...)
		if err != nil {
			return err
		}
		if !same {
			return &SettingError{&loops.InvalidError{Field: "folder", Value: c.Folder, Reason: thing.right +
				"; its " + thing.what + ": not what the daemons on this register have (doc/operations.md, In a database, says what to do where that is lost)"}}
		}
	}
	return nil
}

// linkPrints are of the secrets in the file, the newest first.
func (c Config) linkPrints() ([]string, error) {
	secrets, err := os.ReadFile(c.linkKeyFile())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var all []string
	for secret := range slices.Chunk(secrets, 32) {
		all = append(all, fingerprint("links.key", secret))
	}
	return all, err
}

// dkimPrints are of the public keys that signed, the one that does first.
func (c Config) dkimPrints() ([]string, error) {
	keys, err := c.Keys().Keys()
	var all []string
	for _, key := range slices.Backward(keys) {
		if key.State != notify.KeySigns && key.State != notify.KeyOld {
			continue
		}
		record, err := key.Record(c.MailDomain())
		if err != nil {
			return nil, err
		}
		all = append(all, fingerprint("DKIM key", []byte(record.Value)))
	}
	return all, err
}

// photosPrint is the mark in the folder of photos, made where there is none.
func (c Config) photosPrint() ([]string, error) {
	path := filepath.Join(string(c.photos()), photosMark)
	err := writeSecret(path, []byte(rand.Text()))
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("photos: %w", err)
	}
	mark, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("photos: %w", err)
	}
	return []string{fingerprint("photos", mark)}, nil
}

// fingerprint tells things of a kind apart and says nothing of them.
func fingerprint(kind string, thing []byte) string {
	sum := sha256.Sum256(append([]byte("fillmark "+kind+"\n"), thing...))
	return hex.EncodeToString(sum[:16])
}
