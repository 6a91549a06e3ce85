// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"io"
	"strings"
	"unicode"
)

// visibleWriter writes text for people: what would move the cursor, colour the
// screen or turn the direction of the line is written as its number instead.
type visibleWriter struct{ io.Writer }

func (w visibleWriter) Write(text []byte) (int, error) {
	if _, err := io.WriteString(w.Writer, visible(string(text))); err != nil {
		return 0, err
	}
	return len(text), nil
}

// visible shows control characters (Unicode's Cc, but line break and tab) and
// those that change direction (UAX 9, table 1, and the marks) as <U+001B>.
func visible(text string) string {
	if !strings.ContainsFunc(text, hidden) {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		if hidden(r) {
			fmt.Fprintf(&b, "<U+%04X>", r)
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

func hidden(r rune) bool {
	return unicode.IsControl(r) && r != '\n' && r != '\t' || unicode.Is(unicode.Bidi_Control, r)
}
