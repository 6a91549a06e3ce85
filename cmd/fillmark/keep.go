// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/loops/store"
)

// keep looks after the register as a whole: the file, and what lies beside it.
type keep struct {
	*store.Store
	config config
}

// Check reads the whole file.
func (k keep) Check(ctx context.Context) (web.CheckReport, error) {
	report, err := k.Store.Check(ctx)
	answer := web.CheckReport{OK: err == nil && report.OK(), Records: report.Records, Problems: []string{}, Photos: []string{}}
	for _, p := range report.Problems {
		answer.Problems = append(answer.Problems, p.String())
	}
	if !answer.OK {
		return answer, err
	}
	named, err := k.Photos(ctx, 0)
	for _, p := range named {
		if p.Fault != "" {
			answer.OK, answer.Photos = false, append(answer.Photos, p.String())
		}
	}
	return answer, err
}

// The names in a backup's folder.
const (
	backupRegister = "register.db"
	backupKeys     = "keys"
	backupPhotos   = "photos"
)

// Backup copies the register, its keys and its photos into a folder that is
// not there yet; the register is copied while it is written to, and the copy
// checked. On any fault the folder is removed again.
func (k keep) Backup(ctx context.Context, to string) (err error) {
	if err := os.Mkdir(to, 0o700); err != nil {
		reason := "a folder that is not there yet, inside one that is"
		if !errors.Is(err, fs.ErrExist) && !errors.Is(err, fs.ErrNotExist) {
			reason += " and may be written to (" + err.Error() + ")"
		}
		return &loops.InvalidError{Field: "folder", Value: to, Reason: reason}
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(to)) // only what was made here
		}
	}()
	if err := k.Store.Backup(ctx, filepath.Join(to, backupRegister)); err != nil {
		return err
	}
	beside := filepath.Dir(k.config.Store)
	for _, folder := range []string{backupKeys, backupPhotos} {
		if err := copyFolder(filepath.Join(beside, folder), filepath.Join(to, folder)); err != nil {
			return fmt.Errorf("backup of the %s: %w", folder, err)
		}
	}
	if key := k.config.Mail.DKIMKeyFile; key != "" && filepath.Dir(key) != filepath.Join(beside, backupKeys) {
		if err := copyFile(key, filepath.Join(to, backupKeys, k.config.Mail.DKIMSelector+".pem")); err != nil {
			return fmt.Errorf("backup of the DKIM key: %w", err)
		}
	}
	return nil
}

// restoreFolder puts a backup where the configuration has the register, where
// nothing may be yet.
func restoreFolder(ctx context.Context, c config, from string) error {
	info, err := os.Stat(from)
	if err != nil || !info.IsDir() {
		return &loops.InvalidError{Field: "folder", Value: from, Reason: "a folder that fillmark backup made"}
	}
	beside := filepath.Dir(c.Store)
	for _, path := range []string{c.Store, filepath.Join(beside, backupKeys), filepath.Join(beside, backupPhotos)} {
		if _, err := os.Lstat(path); err == nil {
			return &loops.InvalidError{Field: "store", Value: path, Reason: "nothing there yet: nothing is ever overwritten, so move it aside first"}
		}
	}
	if err := os.MkdirAll(beside, 0o700); err != nil {
		return fmt.Errorf("folder of the register: %w", err)
	}
	if err := store.Restore(ctx, filepath.Join(from, backupRegister), c.Store); err != nil {
		return err
	}
	for _, folder := range []string{backupKeys, backupPhotos} {
		if err := copyFolder(filepath.Join(from, folder), filepath.Join(beside, folder)); err != nil {
			return fmt.Errorf("restore of the %s: %w", folder, err)
		}
	}
	return nil
}

// copyFolder copies the files of a folder; one that is not there has none.
func copyFolder(from, to string) error {
	entries, err := os.ReadDir(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.Type().IsRegular() {
			continue
		}
		if err := copyFile(filepath.Join(from, e.Name()), filepath.Join(to, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// copyFile copies a file to where none is, for its owner's eyes only, and
// waits until it is on the disk.
func copyFile(from, to string) error {
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return errors.Join(err, in.Close())
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close(), in.Close())
}
