// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build linux || darwin || freebsd

package daemon

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"fillmark/cmd/fillmark/authority"
	"fillmark/cmd/fillmark/doctor"
	"fillmark/loops/store"
)

// freeRoom is how many bytes this user may still write at a path.
func freeRoom(path string) (free uint64, told bool, err error) {
	var s unix.Statfs_t
	if err := unix.Statfs(path, &s); err != nil {
		return 0, true, &fs.PathError{Op: "statfs", Path: path, Err: err}
	}
	// The types differ from system to system.
	return uint64(max(0, s.Bavail)) * uint64(s.Bsize), true, nil
}

// exposed are files that others may use, and folders that cannot be written to.
// It counts what was looked at.
func (c Config) exposed() (all []doctor.Exposed, looked int) {
	secrets, err := filepath.Glob(filepath.Join(c.keysDir(), "*"))
	if err != nil {
		secrets = nil // its folder is no pattern
	}
	if secrets = append(secrets, store.PasswordFile(c.Store)); !c.InDatabase() {
		secrets = append(secrets, c.Store)
	}
	for _, path := range append(secrets, c.Mail.SMTP.PasswordFile, c.Mail.DKIMKeyFile, c.TLSKey, authority.Path(c.authorityDir())) {
		if path == "" {
			continue
		}
		err := keptSecret(path)
		if looked++; err != nil && !errors.Is(err, fs.ErrNotExist) {
			all = append(all, doctor.Exposed{Fault: err.Error(), Do: "chmod 600 " + path + ", and a new secret where somebody may have read it"})
		}
	}
	folder := c.Beside()
	info, err := os.Stat(folder)
	if err != nil {
		return all, looked
	}
	if looked++; info.Mode()&0o002 != 0 && info.Mode()&os.ModeSticky == 0 {
		all = append(all, doctor.Exposed{Fault: fmt.Sprintf("%s: mode %04o, so that others may replace the register", folder, info.Mode().Perm()), Do: "chmod 700 " + folder})
	}
	for _, path := range []string{folder, c.Backup.Folder, c.Backup.SecondFolder} {
		if _, err := os.Stat(path); path == "" || err != nil {
			continue
		}
		if looked++; unix.Access(path, unix.W_OK) != nil {
			all = append(all, doctor.Exposed{Fault: path + " cannot be written to", Do: "Give " + path + " to the user that runs the daemon, on a medium that can be written to"})
		}
	}
	return all, looked
}
