// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strings"
	"unicode/utf8"

	"fillmark/loops"
	"fillmark/notify"
)

// letterPage is a letter on paper for an owner without mail.
type letterPage struct {
	frame
	Tag   loops.Tag
	Parts []letterPart
}

// letterPart is a piece of a letter: lines, or the rule under a verdict.
type letterPart struct {
	Text string // its lines are as wide as the paper
	Rule string // "go" or "care", the classes of a verdict; empty for text
}

func (s *server) pageLetter(w http.ResponseWriter, r *http.Request) error {
	tag, err := tagOf(r)
	if err != nil {
		return err
	}
	letter, err := s.Workshop.Printed(s.stamp(r), tag)
	if err != nil {
		return err
	}
	p := letterPage{frame: s.newFrame(r, "Letter "+string(tag)), Tag: tag, Parts: letterParts(letter.Text)}
	p.Here = "loops"
	return s.render(w, http.StatusOK, "letter", p)
}

// letterParts undoes the line breaks that plain text has because mail is narrow:
// a line goes on where the next word would not have had room in it.
func letterParts(text string) (parts []letterPart) {
	var lines strings.Builder
	end := func() {
		if said := strings.Trim(lines.String(), "\n"); said != "" {
			parts = append(parts, letterPart{Text: said})
		}
		lines.Reset()
	}
	room := notify.TextWidth
	for line := range strings.SplitSeq(text, "\n") {
		if rule := notify.RuleOf(line); rule != "" {
			end()
			parts, room = append(parts, letterPart{Rule: rule}), notify.TextWidth
			continue
		}
		said := strings.TrimLeft(line, " ")
		first, _, _ := strings.Cut(said, " ")
		if said != "" && !notify.BeginsItem(line) && 1+utf8.RuneCountInString(first) > room {
			lines.WriteByte(' ')
		} else {
			lines.WriteByte('\n')
		}
		lines.WriteString(said)
		room = notify.TextWidth - utf8.RuneCountInString(line)
	}
	end()
	return parts
}
