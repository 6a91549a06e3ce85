// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import "golang.org/x/sys/windows"

// What the system answers where an address is taken, and where it has no Unix
// sockets (Windows before 10 version 1803).
const (
	errAddressTaken  = windows.WSAEADDRINUSE
	errNoUnixSockets = windows.WSAEAFNOSUPPORT
)
