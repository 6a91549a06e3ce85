// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify/words"
)

// document is the content of a letter, written once and rendered twice, so that
// text and HTML cannot say different things. Its exported fields are what a
// workshop's own templates may use.
type document struct {
	Lang     string // of all but the cautions, as BCP 47 has it
	Subject  string
	Address  []string // where a printed letter goes, line by line
	Greeting string
	Intro    string
	Blocks   []block
	Note     string // above the buttons: what pressing one means
	Buttons  []button
	More     button   // further answers; empty URL: no such link
	Closing  []string // the workshop's lines
	Reason   string   // why the owner gets this mail
	Stop     button   // empty URL: no such link
}

// Colon ends a word that leads to more, in the letter's language.
func (d document) Colon(text string) string {
	return words.In(loops.Language(d.Lang)).Say("colon", text)
}

// block is one headed part of a letter.
type block struct {
	Heading    string
	Dues       []due
	Paragraphs []string
	Lists      []list
}

// due is one task of a block, over its rule.
type due struct {
	Verdict string // a word in capitals
	Text    string // what it is about
	Rule    rule
	Why     string
}

type list struct {
	Heading  string
	Numbered bool
	Items    []string
}

type button struct{ Label, URL string }

// rule is the line under a verdict; it carries the meaning without colour.
type rule string

const (
	ruleGo   rule = "go"
	ruleCare rule = "care"
)

// TextWidth is the width of the plain text, in characters.
const TextWidth = 72

// wrap breaks text at blanks, those that do not break apart; lines after the first
// are indented to the width of the lead. A word longer than a line, such as a link,
// stays whole.
func wrap(lead, text string) string {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	var b strings.Builder
	b.WriteString(lead)
	used := len(indent)
	for i, word := range strings.FieldsFunc(text, breaks) {
		width := utf8.RuneCountInString(word)
		if i > 0 {
			if used+1+width > TextWidth {
				b.WriteString("\n" + indent)
				used = len(indent)
			} else {
				b.WriteByte(' ')
				used++
			}
		}
		b.WriteString(word)
		used += width
	}
	return b.String()
}

// breaks tells of a character that a line may end at it.
func breaks(r rune) bool { return unicode.IsSpace(r) && r != '\u00a0' && r != '\u202f' }

const bullet = "-  "

func itemText(numbered bool, index int, text string) string {
	if numbered {
		return wrap(fmt.Sprintf("%d. ", index+1), text)
	}
	return wrap(bullet, text)
}

// BeginsItem tells of a line of a plain text that it is the first of an item of a list.
func BeginsItem(line string) bool {
	number, _, numbered := strings.Cut(line, ". ")
	_, err := strconv.ParseUint(number, 10, 8)
	return numbered && err == nil || strings.HasPrefix(line, bullet)
}

func ruleText(r rule) string {
	if r == ruleCare {
		return strings.TrimSpace(strings.Repeat("- ", TextWidth/2))
	}
	return strings.Repeat("─", TextWidth)
}

// RuleOf tells which verdict's rule a line of a plain text is: "go", "care", or
// empty for a line that is none.
func RuleOf(line string) string {
	for _, r := range []rule{ruleGo, ruleCare} {
		if line == ruleText(r) {
			return string(r)
		}
	}
	return ""
}

// when prints a day as people write it, and how far it is from today.
func when(ws words.Words, day, today loops.Day) string {
	var far string
	switch n := day.Sub(today); {
	case n == 0:
		far = ws.Say("far.today")
	case n == 1:
		far = ws.Say("far.tomorrow")
	case n == -1:
		far = ws.Say("far.yesterday")
	case n > 0:
		far = away(ws, "far.in.", n)
	default:
		far = away(ws, "far.ago.", -n)
	}
	return ws.Say("far", ws.Day(day), far)
}

// away says how many days there are, by months or years where nobody counts
// days any more: the date beside it is exact.
func away(ws words.Words, lead string, days int) string {
	switch {
	case days <= 90:
		return ws.Say(lead+"days", days)
	case days < 700:
		return ws.Say(lead+"months", int(math.Round(float64(days)/30.4375)))
	}
	return ws.Say(lead+"years", int(math.Round(float64(days)/365.25)))
}

// temperature prints a temperature in the owner's units.
func temperature(c chemistry.Celsius, units loops.Units) string {
	if units == loops.USCustomary {
		return fmt.Sprintf("%.1f °F", float64(c)*9/5+32)
	}
	return c.String()
}

// shortened cuts text to n characters for a subject.
func shortened(text string, n int) string {
	runes := []rune(text)
	if len(runes) <= n {
		return text
	}
	return string(runes[:n-1]) + "…"
}
