// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "time"

// Upkeep is how the program's own work stands, as the register has it.
type Upkeep struct {
	Uptime  Uptime
	Backups Backups
	Canary  Canary
	Noted   time.Time // the newest instant among the last lines of the audit
	Waiting []Message // those queued, tried next first, without their text
}
