// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Phrases are texts that are looked for in others: whole words, whatever their
// case and however lines are broken. The zero value finds nothing.
type Phrases struct {
	folded   []string
	patterns []*regexp.Regexp
}

// NewPhrases returns what finds the texts; blank ones find nothing.
func NewPhrases(texts []string) Phrases {
	p := Phrases{make([]string, len(texts)), make([]*regexp.Regexp, len(texts))}
	for i, text := range texts {
		p.folded[i] = folded(text)
		var words []string
		for w := range strings.FieldsSeq(text) {
			words = append(words, regexp.QuoteMeta(w))
		}
		p.patterns[i] = regexp.MustCompile(`(?i)` + strings.Join(words, `\s+`)) // of quoted words
	}
	return p
}

// folded is a text in lower case with one space between words.
func folded(text string) string { return strings.ToLower(strings.Join(strings.Fields(text), " ")) }

// In returns which of the phrases stand in the text, by their places in the
// list that they were made of.
func (p Phrases) In(text string) []int {
	if len(p.folded) == 0 || text == "" {
		return nil
	}
	var found []int
	text = folded(text)
	for i, phrase := range p.folded {
		if phrase != "" && stands(text, phrase) {
			found = append(found, i)
		}
	}
	return found
}

// stands tells whether the phrase is in the text as whole words.
func stands(text, phrase string) bool {
	for from := 0; ; {
		at := strings.Index(text[from:], phrase)
		if at < 0 {
			return false
		}
		at += from
		if whole(text, at, at+len(phrase)) {
			return true
		}
		_, size := utf8.DecodeRuneInString(text[at:])
		from = at + size
	}
}

// whole tells whether no word goes on before or behind a part of a text.
func whole(text string, start, end int) bool {
	before, _ := utf8.DecodeLastRuneInString(text[:start])
	behind, _ := utf8.DecodeRuneInString(text[end:])
	word := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
	return !word(before) && !word(behind)
}

// Erase returns the text with [ErasedText] where a phrase stood, or a dash where
// that would be longer, so that no text outgrows its bound.
func (p Phrases) Erase(text string) string {
	for _, i := range p.In(text) {
		for _, at := range slices.Backward(p.patterns[i].FindAllStringIndex(text, -1)) {
			if !whole(text, at[0], at[1]) {
				continue
			}
			instead := ErasedText
			if at[1]-at[0] < len(instead) {
				instead = "-"
			}
			text = text[:at[0]] + instead + text[at[1]:]
		}
	}
	return text
}
