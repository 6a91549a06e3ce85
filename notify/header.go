// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Header is one header field as it stands in the letter; the value is already
// encoded and folded.
type Header struct {
	Name, Value string
}

// maxLine is the longest line that RFC 2047 section 2 allows where an encoded
// word stands; plain header lines keep to it too.
const maxLine = 76

// unstructured writes free text as a header value: as it is where it is plain
// and folds, else as encoded words. The name's length counts for the first line.
func unstructured(name, text string) string {
	if isPlain(text) {
		return foldWords(len(name)+2, strings.Split(text, " "))
	}
	return foldWords(len(name)+2, encodedWords(len(name)+2, text))
}

// addressValue writes a display name and an address.
func addressValue(name, display, address string) string {
	if display == "" {
		return address
	}
	quoted := `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(display) + `"`
	words := []string{quoted}
	if !isPlain(display) || len(name)+2+len(quoted) > maxLine {
		words = encodedWords(len(name)+2, display)
	}
	return foldWords(len(name)+2, append(words, "<"+address+">"))
}

// isPlain tells whether text may stand in a header without encoding: printable
// ASCII with single blanks inside, no word that could not fold or be taken for
// an encoded one.
func isPlain(text string) bool {
	if !isPrintable(text) || strings.Contains(text, "=?") {
		return false
	}
	for word := range strings.SplitSeq(text, " ") {
		if word == "" || len(word) > 60 {
			return false
		}
	}
	return true
}

// foldWords joins words by blanks and begins a new line before a word that
// would not fit; used is what already stands on the first line.
func foldWords(used int, words []string) string {
	var b strings.Builder
	for i, word := range words {
		switch {
		case i == 0:
		case used+1+len(word) > maxLine:
			b.WriteString("\r\n ")
			used = 1
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += len(word)
	}
	return b.String()
}

// encodedWords writes text as Q-encoded words of RFC 2047, each of whole
// characters. The first leaves room for what already stands on its line, and
// only characters allowed in a phrase stay as they are, so that the words are
// right in a subject and in a name. The standard library's encoder fills 75
// characters from the first word on and so overruns the first line.
func encodedWords(used int, text string) []string {
	const open, shut = "=?utf-8?q?", "?="
	var words []string
	var b strings.Builder
	room := maxLine - used
	for len(text) > 0 {
		_, size := utf8.DecodeRuneInString(text)
		piece := qEncode(text[:size])
		if b.Len() > 0 && len(open)+b.Len()+len(piece)+len(shut) > room {
			words = append(words, open+b.String()+shut)
			b.Reset()
			room = maxLine - 1
		}
		b.WriteString(piece)
		text = text[size:]
	}
	return append(words, open+b.String()+shut)
}

func qEncode(char string) string {
	c := char[0]
	if c == ' ' {
		return "_"
	}
	if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' {
		return char
	}
	var b strings.Builder
	for i := range len(char) {
		fmt.Fprintf(&b, "=%02X", char[i])
	}
	return b.String()
}
