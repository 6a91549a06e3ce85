// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
)

// Every key is a row of fixed-width fields with at most one field of variable
// text, last, so that byte order is the order of the values. Each layout has
// one pair of functions here; a decoder refuses what its encoder never writes.

const (
	idWidth      = 8  // big-endian
	dayWidth     = 10 // 2006-01-02
	instantWidth = 20 // 2006-01-02T15:04:05Z: seconds in UTC, no fraction
	tagWidth     = 6
	maxTextKey   = 300
)

const instantLayout = "2006-01-02T15:04:05Z"

// number is any of the ids and line numbers.
type number interface{ ~uint64 }

func idKey[N number](id N) []byte { return binary.BigEndian.AppendUint64(nil, uint64(id)) }

// pairKey is a parent's id and a child's: machines of an owner, loops of a
// machine, entries of a loop.
func pairKey[P, C number](parent P, child C) []byte {
	return binary.BigEndian.AppendUint64(idKey(parent), uint64(child))
}

func decodePairKey[P, C number](key []byte) (P, C, error) {
	if len(key) != 2*idWidth {
		return 0, 0, badKey(key)
	}
	return P(binary.BigEndian.Uint64(key)), C(binary.BigEndian.Uint64(key[idWidth:])), nil
}

// lastID returns the id that a key of two ids ends in.
func lastID(key []byte) uint64 { return binary.BigEndian.Uint64(key[len(key)-idWidth:]) }

func tagKey(tag loops.Tag, loop loops.LoopID) ([]byte, error) {
	if len(tag) != tagWidth || strings.Trim(string(tag), "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		return nil, fmt.Errorf("loop %d: tag %q: six capital letters or digits", loop, tag)
	}
	return append([]byte(tag), idKey(loop)...), nil
}

func decodeTagKey(key []byte) (loops.Tag, loops.LoopID, error) {
	if len(key) != tagWidth+idWidth {
		return "", 0, badKey(key)
	}
	tag, loop := loops.Tag(key[:tagWidth]), loops.LoopID(binary.BigEndian.Uint64(key[tagWidth:]))
	_, err := tagKey(tag, loop)
	return tag, loop, err
}

func appendDay(key []byte, day loops.Day) ([]byte, error) {
	if _, err := loops.NewDay(day.Year, day.Month, day.Dom); err != nil {
		return nil, err
	}
	return append(key, day.String()...), nil
}

func dueKey(d loops.Due) ([]byte, error) {
	key, err := appendDay(nil, d.Day)
	if err != nil {
		return nil, err
	}
	return appendText(append(key, idKey(d.Loop)...), string(d.Task))
}

func decodeDueKey(key []byte) (loops.Due, error) {
	if len(key) <= dayWidth+idWidth {
		return loops.Due{}, badKey(key)
	}
	day, err := loops.ParseDay(string(key[:dayWidth]))
	if err != nil {
		return loops.Due{}, badKey(key)
	}
	d := loops.Due{
		Day:  day,
		Loop: loops.LoopID(binary.BigEndian.Uint64(key[dayWidth:])),
		Task: loops.TaskKind(key[dayWidth+idWidth:]),
	}
	if _, err := dueKey(d); err != nil {
		return loops.Due{}, badKey(key)
	}
	return d, nil
}

// sentKey ends in the task and the stage with a slash between them, which
// neither may hold.
func sentKey(s loops.Sent) ([]byte, error) {
	key, err := sentPrefix(s.Loop, s.Task, s.Due)
	if err != nil {
		return nil, err
	}
	if strings.Contains(string(s.Stage), "/") {
		return nil, fmt.Errorf("stage %q: text without a slash", s.Stage)
	}
	return appendText(key, string(s.Stage))
}

// sentPrefix begins the keys of every stage of one task due on one day.
func sentPrefix(loop loops.LoopID, task loops.TaskKind, due loops.Day) ([]byte, error) {
	key, err := appendDay(idKey(loop), due)
	if err != nil {
		return nil, err
	}
	if task == "" || strings.Contains(string(task), "/") {
		return nil, fmt.Errorf("task %q: text without a slash", task)
	}
	return appendText(key, string(task)+"/")
}

// decodeSentKey leaves the message empty: it stands in the value.
func decodeSentKey(key []byte) (loops.Sent, error) {
	if len(key) <= idWidth+dayWidth {
		return loops.Sent{}, badKey(key)
	}
	day, err := loops.ParseDay(string(key[idWidth : idWidth+dayWidth]))
	task, stage, ok := strings.Cut(string(key[idWidth+dayWidth:]), "/")
	if err != nil || !ok {
		return loops.Sent{}, badKey(key)
	}
	s := loops.Sent{
		Loop: loops.LoopID(binary.BigEndian.Uint64(key)), Task: loops.TaskKind(task),
		Due: day, Stage: loops.Stage(stage),
	}
	if _, err := sentKey(s); err != nil {
		return loops.Sent{}, badKey(key)
	}
	return s, nil
}

func messageKey(key loops.MessageKey) ([]byte, error) { return appendText(nil, string(key)) }

func decodeMessageKey(key []byte) (loops.MessageKey, error) {
	_, err := appendText(nil, string(key))
	return loops.MessageKey(key), err
}

// instantKey is an instant, to the second, and a message.
func instantKey(at time.Time, key loops.MessageKey) ([]byte, error) {
	at = at.UTC()
	if at.Year() < loops.MinYear || at.Year() > loops.MaxYear {
		return nil, fmt.Errorf("message %s: instant %s: a year from %d to %d", key, at, loops.MinYear, loops.MaxYear)
	}
	return appendText(at.AppendFormat(nil, instantLayout), string(key))
}

// decodeInstantKey returns the instant without its fraction of a second.
func decodeInstantKey(key []byte) (time.Time, loops.MessageKey, error) {
	if len(key) <= instantWidth {
		return time.Time{}, "", badKey(key)
	}
	at, err := time.Parse(instantLayout, string(key[:instantWidth]))
	if err != nil || at.Year() < loops.MinYear || at.Year() > loops.MaxYear {
		return time.Time{}, "", badKey(key)
	}
	message, err := decodeMessageKey(key[instantWidth:])
	return at, message, err
}

// appendText ends a key with text that cannot be empty or hold control
// characters, so that a key can always be printed.
func appendText(key []byte, text string) ([]byte, error) {
	if text == "" || len(text) > maxTextKey || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return nil, fmt.Errorf("key %q: 1 to %d bytes without control characters", text, maxTextKey)
	}
	return append(key, text...), nil
}

func badKey(key []byte) error { return fmt.Errorf("%w: key %q", loops.ErrDamaged, key) }

// printKey writes a key of the bucket for people: numbers with slashes between
// them where it is made of ids, else its text.
func printKey(name string, key []byte) string {
	ids := func(b []byte) string {
		var parts []string
		for ; len(b) >= idWidth; b = b[idWidth:] {
			parts = append(parts, fmt.Sprint(binary.BigEndian.Uint64(b)))
		}
		return strings.Join(parts, "/")
	}
	switch name {
	case bucketTags:
		if len(key) == tagWidth+idWidth {
			return fmt.Sprintf("%s/%s", key[:tagWidth], ids(key[tagWidth:]))
		}
	case bucketDue:
		if d, err := decodeDueKey(key); err == nil {
			return fmt.Sprintf("%s/%d/%s", d.Day, d.Loop, d.Task)
		}
	case bucketSent:
		if s, err := decodeSentKey(key); err == nil {
			return fmt.Sprintf("%d/%s/%s/%s", s.Loop, s.Due, s.Task, s.Stage)
		}
	}
	if len(key) > 0 && key[0] == 0 && len(key)%idWidth == 0 { // no text begins so
		return ids(key)
	}
	return strings.Trim(fmt.Sprintf("%q", key), `"`)
}
