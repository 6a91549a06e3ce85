// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"fmt"
	"os"
	"strconv"
	"syscall"
)

// folderOwner is the number of the user who owns a folder.
func folderOwner(folder string) (id string, known bool) {
	info, err := os.Stat(folder)
	if err != nil {
		return "", false
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return "", false
	}
	return strconv.FormatUint(uint64(stat.Uid), 10), true
}

// keptSecret refuses a file with a key in it that anybody but its owner and
// group may read, or but its owner may write.
func keptSecret(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if mode := info.Mode().Perm(); mode&0o027 != 0 {
		return &SettingError{fmt.Errorf("%s: mode %04o, so that others may use what is in it; 0600 is right (chmod 600), and a new secret where somebody did", path, mode)}
	}
	return nil
}
