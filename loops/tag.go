// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"io"
	"strings"
)

// Tag is the short code on a loop's label, typed by hand: five symbols of
// Crockford's base 32 and his check symbol (the value modulo 37), all six of
// them letters or digits. The zero value is no tag.
type Tag string

const (
	// tagAlphabet is Crockford's: no I, L, O or U, which are misread.
	tagAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	// tagChecks continues the alphabet for the check symbol; tags whose check
	// would be one of the last five signs, or U, are never handed out.
	tagChecks  = tagAlphabet + "*~$=U"
	tagSymbols = 5
)

// NewTag draws a tag from the source of random bytes, again and again until
// the check symbol is one a label can carry.
func NewTag(random io.Reader) (Tag, error) {
	for {
		var b [tagSymbols]byte
		if _, err := io.ReadFull(random, b[:]); err != nil {
			return "", fmt.Errorf("tag: %w", err)
		}
		for i := range b {
			b[i] = tagAlphabet[b[i]&31]
		}
		if check := tagCheck(string(b[:])); strings.IndexByte(tagAlphabet, check) >= 0 {
			return Tag(string(b[:]) + string(check)), nil
		}
	}
}

// tagCheck returns the check symbol of the five symbols.
func tagCheck(symbols string) byte {
	value := 0
	for i := range len(symbols) {
		value = value*32 + strings.IndexByte(tagAlphabet, symbols[i])
	}
	return tagChecks[value%37]
}

// ParseTag reads a tag as people type it: small letters, blanks and hyphens
// are accepted, O is read as 0, I and L as 1. A mistyped tag gets an
// [InvalidError] that names the mistake.
func ParseTag(text string) (Tag, error) {
	fold := strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1")
	typed := fold.Replace(strings.ToUpper(text))
	for _, r := range typed {
		if !strings.ContainsRune(tagAlphabet, r) {
			return "", invalid("tag", text, fmt.Sprintf("letters and digits only, and no U; %q is none a tag can have", r))
		}
	}
	if len(typed) != tagSymbols+1 {
		return "", invalid("tag", text, fmt.Sprintf("six symbols such as 7K3QXW; this has %d", len(typed)))
	}
	if want := tagCheck(typed[:tagSymbols]); want != typed[tagSymbols] {
		return "", invalid("tag", text, "the six symbols on the label; the last one does not fit the first five, so one is mistyped or two are swapped")
	}
	return Tag(typed), nil
}
