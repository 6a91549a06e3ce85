// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"io"
	"strings"

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

// escapedWriter writes JSON: what encoding/json leaves as it is and would do the same
// to a terminal stands as its escape, which says the same to a program.
type escapedWriter struct{ io.Writer }

func (w escapedWriter) Write(text []byte) (int, error) {
	var out strings.Builder
	for _, r := range string(text) {
		if is := string(r); r < 0x7f || r > 0xffff || loops.Visible(is) == is {
			out.WriteString(is)
			continue
		}
		fmt.Fprintf(&out, `\u%04x`, r)
	}
	if _, err := io.WriteString(w.Writer, out.String()); err != nil {
		return 0, err
	}
	return len(text), nil
}
