// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"io"

	"fillmark/loops"
)

// visibleWriter writes text for people: what would move the cursor, colour the
// screen or turn the direction of the line is written as its number instead.
type visibleWriter struct{ io.Writer }

func (w visibleWriter) Write(text []byte) (int, error) {
	if _, err := io.WriteString(w.Writer, loops.Visible(string(text))); err != nil {
		return 0, err
	}
	return len(text), nil
}
