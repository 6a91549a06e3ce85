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
	Latest  []Message // the last [LatestMessages] written, the newest first, without their text
}

// LatestMessages is how many of the messages written last tell what the relay took.
const LatestMessages = 64
