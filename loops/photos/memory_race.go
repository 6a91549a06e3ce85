// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build race

package photos

// cellMemory where the race detector runs, in bytes: what it keeps of every
// byte, and where, is more than the bound of a program that is shipped.
const cellMemory = 1 << 47
