// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package peer

import (
	"syscall"
	"testing"
)

// Disk is an empty folder on a file system of its own, of a size as mount says
// it: 4m. It is gone with the test.
func Disk(t testing.TB, size string) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size="+size+",mode=0700"); err != nil {
		Missing(t, "a file system of "+size, err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Errorf("unmount %s: %v", folder, err)
		}
	})
	return folder
}
