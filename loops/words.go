// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// Count writes how many of what: "1 day", "3 days".
func Count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// CountOrNo is [Count], with "no day" for none.
func CountOrNo(n int, what string) string {
	if n == 0 {
		return "no " + what
	}
	return Count(n, what)
}

// Capital writes the first letter large.
func Capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return text
	}
	return string(unicode.ToUpper(first)) + text[size:]
}
