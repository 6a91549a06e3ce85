// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"time"

	"golang.org/x/sys/unix"
)

// uptime measures the time that passes, also while the computer sleeps.
func uptime() func() time.Duration {
	return func() time.Duration {
		var t unix.Timespec
		_ = unix.ClockGettime(unix.CLOCK_BOOTTIME, &t) // there since Linux 2.6.39
		return time.Duration(t.Nano())
	}
}
