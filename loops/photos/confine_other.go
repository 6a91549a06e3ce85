// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !linux

package photos

import (
	"io"
	"os"
)

// confine sets nothing: these systems have no bound on memory that a Go program
// can live under. The cell is a process of its own all the same, what a picture
// needs is worked out before it is decoded, and the one who asks ends a cell
// that takes too long.
func confine() error { return nil }

func contentOf(file *os.File) ([]byte, error) { return io.ReadAll(file) }
