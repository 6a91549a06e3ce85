// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "slices"

// SinceCharge returns the standing entries of the present charge in the order
// they happened, from the fill or the swap on that it began with; all of them
// where none did. Nothing older says anything about what is in the loop.
func SinceCharge(history []Entry) []Entry {
	standing := Standing(history)
	for i, e := range slices.Backward(standing) {
		if e.BeginsCharge() {
			return standing[i:]
		}
	}
	return standing
}
