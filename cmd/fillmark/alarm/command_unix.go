// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package alarm

import (
	"os/exec"
	"syscall"
)

// endWhole has the end of a command's time end all that it started.
func endWhole(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
}
