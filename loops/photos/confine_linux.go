// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// confine sets the bounds of this process: its memory, its processor time, and
// that the system, where it runs short, ends it before any other.
func confine() error {
	for what, limit := range map[int]uint64{unix.RLIMIT_DATA: cellMemory, unix.RLIMIT_CPU: cellSeconds, unix.RLIMIT_FSIZE: 0, unix.RLIMIT_CORE: 0} {
		if err := unix.Setrlimit(what, &unix.Rlimit{Cur: limit, Max: limit}); err != nil {
			return fmt.Errorf("limit %d: %w", what, err)
		}
	}
	// Raising one's own score needs no right. Where /proc is not there the other
	// bounds hold all the same.
	_ = os.WriteFile("/proc/self/oom_score_adj", []byte("1000"), 0) // best effort, see above
	return nil
}

// contentOf maps the file instead of reading it into memory.
func contentOf(file *os.File) ([]byte, error) {
	info, err := file.Stat()
	if err != nil || info.Size() == 0 {
		return nil, err
	}
	return unix.Mmap(int(file.Fd()), 0, int(info.Size()), unix.PROT_READ, unix.MAP_SHARED)
}
