// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"strings"
	"unicode"
)

// fewestDigits make a telephone number out of what else is part of a name.
const fewestDigits = 5

// ReadOwner reads who somebody is from one line as it is said at a counter:
// "Bea Moss +351 910 000 111 bea@moss.example". What holds an @ is the mail
// address, figures are the telephone, and the rest is the name. It refuses
// nothing: [Owner.Validate] does.
func ReadOwner(line string) Owner {
	var o Owner
	var name, phone []string
	flush := func() {
		if digitsIn(strings.Join(phone, "")) < fewestDigits || o.Phone != "" {
			name = append(name, phone...)
		} else {
			o.Phone = strings.Join(phone, " ")
		}
		phone = nil
	}
	for part := range strings.FieldsFuncSeq(line, func(r rune) bool { return r == ',' || r == ';' }) {
		for word := range strings.FieldsSeq(part) {
			figures := digitsIn(word) > 0 && strings.Trim(word, "+-/().0123456789") == ""
			if !figures || word[0] == '+' {
				flush()
			}
			switch {
			case figures:
				phone = append(phone, word)
			case strings.Contains(word, "@") && o.Email == "":
				o.Email = strings.Trim(word, "<>")
			default:
				name = append(name, word)
			}
		}
		flush()
	}
	o.Name = strings.Join(name, " ")
	return o
}

// Line says who somebody is as [ReadOwner] reads it.
func (o Owner) Line() string {
	return strings.Join(strings.FieldsFunc(strings.Join([]string{o.Name, o.Phone, o.Email}, "\n"), func(r rune) bool { return r == '\n' }), ", ")
}

// Fits tells whether all that was typed is part of who the owner is: words of the
// name, the mail address, or digits of the telephone however it is spaced.
func (o Owner) Fits(typed string) bool {
	if d := onlyDigits(typed); len(d) >= 3 && strings.Trim(typed, "+-/(). 0123456789") == "" {
		return strings.Contains(onlyDigits(o.Phone), strings.TrimLeft(d, "0"))
	}
	about, any := strings.ToLower(o.Name+"\n"+o.Email+"\n"+o.Phone), false
	for word := range strings.FieldsFuncSeq(strings.ToLower(typed), func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == ';' }) {
		if any = true; !strings.Contains(about, word) {
			return false
		}
	}
	return any
}

func onlyDigits(s string) string {
	return strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, s)
}

func digitsIn(s string) int { return len(onlyDigits(s)) }
