// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !linux

package daemon

import "time"

// uptime measures the time that passes; on some systems it stands while the computer
// sleeps, and a clock that is right then waits an hour for nothing.
func uptime() func() time.Duration {
	began := time.Now()
	return func() time.Duration { return time.Since(began) }
}
