// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import "golang.org/x/sys/unix"

// errAddressTaken is what the system answers where somebody has the address.
const errAddressTaken = unix.EADDRINUSE
