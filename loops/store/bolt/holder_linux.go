// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"syscall"
)

// holder says which process holds the file, " (process 4711)", as far as the
// kernel's list of locks tells; else it is empty. A line there reads
//
//	1: FLOCK  ADVISORY  WRITE 4711 fe:00:131090 0 EOF
//
// with the lock's process, and device and inode of the file (proc_locks(5)).
func holder(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	locks, err := os.Open("/proc/locks")
	if err != nil {
		return ""
	}
	defer func() { _ = locks.Close() }() // only read
	inode := fmt.Sprintf(":%d", stat.Ino)
	for lines := bufio.NewScanner(locks); lines.Scan(); {
		f := strings.Fields(lines.Text())
		if len(f) == 8 && f[1] == "FLOCK" && strings.HasSuffix(f[5], inode) {
			return fmt.Sprintf(" (process %s)", f[4])
		}
	}
	return ""
}
