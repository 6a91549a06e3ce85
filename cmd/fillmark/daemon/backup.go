// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/loops/store"
)

// keeper looks after the register as a whole: the file, and what lies beside it.
type keeper struct {
	*store.Store
	config Config
}

// Check reads the whole file.
func (k keeper) Check(ctx context.Context) (web.CheckReport, error) {
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
	PhotosFolder   = "photos"
)

// unfinished stands in the name of a backup's folder until all is in it.
const unfinished = ".part-"

// Backup copies the register, its keys and its photos into a folder that is
// not there yet; the register is copied while it is written to, and the copy
// checked. The folder gets its name when all is in it: one that a kill left
// behind is never taken for a backup. On any other fault it is removed again.
func (k keeper) Backup(ctx context.Context, to string) (err error) {
	to = filepath.Clean(to)
	refused := &loops.InvalidError{Field: "folder", Value: to, Reason: "a folder that is not there yet, inside one that is"}
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return refused
	}
	part, err := os.MkdirTemp(filepath.Dir(to), filepath.Base(to)+unfinished)
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			refused.Reason += " and may be written to (" + err.Error() + ")"
		}
		return refused
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(part)) // only what was made here
		}
	}()
	if err := k.fill(ctx, part); err != nil {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return syncFolder(filepath.Dir(to))
}

// fill copies all that a backup holds into a folder. The photos follow the
// register, so that none is missing that its copy names.
func (k keeper) fill(ctx context.Context, folder string) error {
	if err := k.Store.Backup(ctx, filepath.Join(folder, backupRegister)); err != nil {
		return err
	}
	beside := filepath.Dir(k.config.Store)
	for _, name := range []string{backupKeys, PhotosFolder} {
		if err := copyFolder(filepath.Join(beside, name), filepath.Join(folder, name)); err != nil {
			return fmt.Errorf("backup of the %s: %w", name, err)
		}
	}
	if key := k.config.Mail.DKIMKeyFile; key != "" && filepath.Dir(key) != filepath.Join(beside, backupKeys) {
		if err := copyFile(key, filepath.Join(folder, backupKeys, k.config.Mail.DKIMSelector+".pem")); err != nil {
			return fmt.Errorf("backup of the DKIM key: %w", err)
		}
	}
	return nil
}

// syncFolder makes the names in a folder last through a loss of power.
func syncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil // it has no such call for folders
	}
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}

// Restore puts a backup where the configuration has the register, where
// nothing may be yet.
func Restore(ctx context.Context, c Config, from string) error {
	if _, err := os.Stat(filepath.Join(from, backupRegister)); err != nil {
		return &loops.InvalidError{Field: "folder", Value: from, Reason: "a folder that fillmark backup made, with " + backupRegister + " in it"}
	}
	if strings.Contains(filepath.Base(from), unfinished) {
		return &loops.InvalidError{Field: "folder", Value: from, Reason: "a backup that was finished; this one was cut off, and keys or photos may be missing"}
	}
	beside := filepath.Dir(c.Store)
	for _, path := range []string{c.Store, filepath.Join(beside, backupKeys), filepath.Join(beside, PhotosFolder)} {
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
	for _, folder := range []string{backupKeys, PhotosFolder} {
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
