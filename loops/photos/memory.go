// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !race

package photos

// cellMemory is what a cell may take from the system, in bytes. What a picture
// needs is worked out from its header before anything is decoded, so an honest
// one never gets there.
const cellMemory = 320 << 20
