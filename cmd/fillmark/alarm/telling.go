// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package alarm

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
)

// Telling is what a way is told at once: all that is red, and what is over.
type Telling struct {
	At       time.Time
	Workshop string
	// Hello tells that the way is used to show that it works.
	Hello bool
	Red   []RedLine
	Over  []OverLine

	zone *time.Location
}

// RedLine is an alarm; New tells that this way was not told of it before.
type RedLine struct {
	loops.Alarm
	New bool `json:"new"`
}

// OverLine is an alarm that has ended.
type OverLine struct {
	Name   string    `json:"name"`
	Reason string    `json:"reason"` // what it was
	Since  time.Time `json:"since"`
	Ended  time.Time `json:"ended"`
}

// ID names the telling: it stays the same while the same is told again because
// nobody took it.
func (t Telling) ID() string {
	sum := sha256.New()
	for _, r := range t.Red {
		fmt.Fprintln(sum, "red", r.Name, r.Since.Unix(), r.New)
	}
	for _, o := range t.Over {
		fmt.Fprintln(sum, "over", o.Name, o.Since.Unix(), o.Ended.Unix())
	}
	if len(t.Over) == 0 && !anyNew(t.Red) {
		fmt.Fprintln(sum, "again", t.At.Unix())
	}
	return "msg_" + hex.EncodeToString(sum.Sum(nil)[:16])
}

func anyNew(red []RedLine) bool {
	for _, r := range red {
		if r.New {
			return true
		}
	}
	return false
}

// JSON is the telling in the form that Standard Webhooks 1.0.0 recommends: type,
// timestamp and data.
func (t Telling) JSON() ([]byte, error) {
	type data struct {
		Workshop string     `json:"workshop"`
		Hello    bool       `json:"hello"`
		Red      []RedLine  `json:"red"`
		Over     []OverLine `json:"over"`
	}
	return json.Marshal(struct {
		Type      string    `json:"type"`
		Timestamp time.Time `json:"timestamp"`
		Data      data      `json:"data"`
	}{"alarm.state", t.At.UTC(), data{t.Workshop, t.Hello, append([]RedLine{}, t.Red...), append([]OverLine{}, t.Over...)}})
}

// Text is the telling as a person reads it.
func (t Telling) Text() string {
	var lines []string
	switch {
	case len(t.Red) > 0:
		lines = append(lines, fmt.Sprintf("Fillmark at %s cannot do a part of its work.", t.Workshop))
	case len(t.Over) > 0:
		lines = append(lines, fmt.Sprintf("Fillmark at %s does its work again.", t.Workshop))
	default:
		lines = append(lines, fmt.Sprintf("Fillmark at %s tells its alarms here. Nothing is wrong.", t.Workshop))
	}
	for _, r := range t.Red {
		lines = append(lines, fmt.Sprintf("%s, since %s: %s %s", loops.Capital(r.Name), t.when(r.Since), r.Reason, r.Remedy))
	}
	for _, o := range t.Over {
		lines = append(lines, fmt.Sprintf("Over: %s, from %s to %s.", o.Name, t.when(o.Since), t.when(o.Ended)))
	}
	return strings.Join(lines, "\n") + "\n"
}

func (t Telling) when(at time.Time) string {
	zone := t.zone
	if zone == nil {
		zone = time.UTC
	}
	return at.In(zone).Format("Mon 2 Jan 2006 15:04 MST")
}
