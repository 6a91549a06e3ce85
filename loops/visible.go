// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"
	"unicode"
)

// Visible shows control characters (Unicode's Cc, but line break and tab) and
// those that change direction (UAX 9, table 1, and the marks) as <U+001B>: on a
// terminal, in a subject or in a calendar they would make a reader see other
// words than are there.
func Visible(text string) string {
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
