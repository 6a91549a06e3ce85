// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package main

import "golang.org/x/sys/unix"

// What the system answers where an address is taken, and where it has no Unix
// sockets.
const (
	errAddressTaken  = unix.EADDRINUSE
	errNoUnixSockets = unix.EAFNOSUPPORT
)
