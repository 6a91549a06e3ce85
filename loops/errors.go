// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"fillmark/chemistry"
)

// ErrNotFound says that no record has the id, tag or key asked for.
var ErrNotFound = errors.New("not found")

// ErrConflict says that the record changed since it was read; read it again.
var ErrConflict = errors.New("the record changed since it was read")

// ErrRepeated says that a message or a sent mark with the same key is already
// on record, so that writing it again would mail somebody twice.
var ErrRepeated = errors.New("already recorded")

// ErrTagTaken says that another loop already carries the tag.
var ErrTagTaken = errors.New("the tag is taken")

// ErrFull says that there is no space for a write, which changed nothing.
var ErrFull = errors.New("no space left for the register; free some and try again")

// ErrDamaged says that bytes in the register are not what was written. The way
// back is the newest backup.
var ErrDamaged = errors.New("the store file is damaged; restore the newest backup")

// ErrGone says that the register's file was removed or replaced while it was in
// use, so that nothing that is written would be found again.
var ErrGone = errors.New("the register's file was removed or replaced while the program has it open")

// ErrInUse says that another process holds the register.
var ErrInUse = errors.New("store is in use by another process")

// ErrForeign says that what is there is none of Fillmark's.
var ErrForeign = errors.New("this is not a Fillmark store")

// ErrNewer says that a later version of the program wrote the register.
var ErrNewer = errors.New("the store was written by a newer version of Fillmark; update the program, or restore a backup made with this one")

// ErrReadOnly says that the register was opened for reading alone.
var ErrReadOnly = errors.New("the register is open read-only: its medium or its permissions do not allow writing")

// ErrAway says that the database in which the register is kept does not answer.
var ErrAway = errors.New("the register's database does not answer")

// ErrUnsettled is an [ErrAway] that came between a write and its answer.
var ErrUnsettled = fmt.Errorf("%w, and it is not known whether the last write was recorded", ErrAway)

// ErrOvertaken says that another daemon does by now what one of several does.
var ErrOvertaken = errors.New("another daemon on this register does that by now")

// NoWrite tells that an error stands in the way of every write, so that trying
// the next one is of no use.
func NoWrite(err error) bool {
	return errors.Is(err, ErrFull) || errors.Is(err, ErrGone) || errors.Is(err, ErrAway) || errors.Is(err, ErrReadOnly)
}

// InvalidError names the field, the value given and what would be right. It
// is the chemistry package's type, so that callers match one type only.
type InvalidError = chemistry.InvalidError

// invalid builds an [InvalidError]; the reason says what would be right.
func invalid(field string, value any, reason string) error {
	return &InvalidError{Field: field, Value: fmt.Sprint(value), Reason: reason}
}

// checkText refuses text that is longer than maxBytes, not UTF-8, or holds
// control characters, so that no stored text can break a header, a calendar
// line or a terminal. Line breaks pass only where multiline is true.
func checkText(field, text string, maxBytes int, multiline bool) error {
	if len(text) > maxBytes {
		return invalid(field, text[:min(40, maxBytes)]+"…", fmt.Sprintf("at most %d bytes of text", maxBytes))
	}
	if !utf8.ValidString(text) {
		return invalid(field, strings.ToValidUTF8(text, "?"), "text in UTF-8")
	}
	for _, r := range text {
		if multiline && (r == '\n' || r == '\t') {
			continue
		}
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return invalid(field, fmt.Sprintf("%q", text), "text without control characters or line breaks")
		}
	}
	return nil
}

// requireText is [checkText] for a single line that must not be blank.
func requireText(field, text string, maxBytes int) error {
	if strings.TrimSpace(text) == "" {
		return invalid(field, text, "some text")
	}
	return checkText(field, text, maxBytes, false)
}
