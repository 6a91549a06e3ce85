// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

// Evidence is what opened loops have taught, as far as a plan names it. It moves
// no due date: in simulated workshops no rule that did let fewer failures through
// than a fixed interval with as many looks (doc/findings.md). The zero value is
// none on record.
type Evidence struct {
	// Version rises with every change, so that old plans are found and renewed.
	Version uint64 `json:"version"`
}
