// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import "golang.org/x/sys/windows"

// errAddressTaken is what the system answers where somebody has the address.
const errAddressTaken = windows.WSAEADDRINUSE
