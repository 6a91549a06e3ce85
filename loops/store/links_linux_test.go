// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"fillmark/loops/store"
)

// withoutLinks has the kernel refuse this thread what a stick with exFAT refuses: a
// second name for a file.
func withoutLinks() error {
	const number, allow, refuse = 0, unix.SECCOMP_RET_ALLOW, unix.SECCOMP_RET_ERRNO | uint32(unix.EPERM)
	filter := []unix.SockFilter{
		{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: number},
		{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, K: unix.SYS_LINKAT, Jf: 1},
		{Code: unix.BPF_RET | unix.BPF_K, K: refuse},
		{Code: unix.BPF_RET | unix.BPF_K, K: allow},
	}
	program := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	return unix.Prctl(unix.PR_SET_SECCOMP, unix.SECCOMP_MODE_FILTER, uintptr(unsafe.Pointer(&program)), 0, 0)
}

// A disk that knows no links takes a new store and a copy all the same, and still
// nothing is replaced.
func TestCopyToADiskWithoutLinks(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	path, copied := filepath.Join(folder, "register.db"), filepath.Join(folder, "copy")
	ended := make(chan error, 4)
	go func() {
		runtime.LockOSThread() // which ends with it
		if err := withoutLinks(); err != nil {
			ended <- err
			close(ended)
			return
		}
		ended <- os.Link(folder, folder+" too")
		s, err := store.Open(path, store.Options{})
		ended <- err
		if err == nil {
			ended <- s.Backup(t.Context(), copied)
			ended <- errors.Join(s.Backup(t.Context(), copied), s.Close())
		}
		close(ended)
	}()
	require.ErrorIs(t, <-ended, unix.EPERM)
	require.NoError(t, <-ended)
	require.NoError(t, <-ended)
	require.ErrorIs(t, <-ended, os.ErrExist)
	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, files, 2, "nothing else is left")
	s, err := store.Open(copied, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
}
