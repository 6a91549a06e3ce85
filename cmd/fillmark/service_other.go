// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !windows

package main

import (
	"context"
	"io"
)

// supervised runs the command line. systemd and launchd start a program as a
// person does, and tell it to stop by a signal.
func supervised(ctx context.Context, stderr io.Writer, run func(context.Context, io.Writer) int) int {
	return run(ctx, stderr)
}
