// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import "fillmark/notify"

// OwnerCautions are the cautions of all that is in the loops, in owners' words;
// see [notify.Cautions].
func OwnerCautions(files []OwnersFile) []string {
	var inside []notify.Inside
	for _, f := range files {
		inside = append(inside, notify.Inside{Machine: notify.MachineName(f.Machine, f.Loop), Loop: f.Loop})
	}
	return notify.Cautions(inside)
}
