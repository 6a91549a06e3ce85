// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// Lead is the record of which of several daemons does what must happen once.
type Lead struct {
	Holder string // of this process alone; empty for nobody
	// Number rises with each daemon that begins to lead: one that was overtaken
	// is known by it.
	Number uint64
	Beat   uint64 // rises while the holder lives
}
