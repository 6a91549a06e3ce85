// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fmt"
	"net/mail"
	"net/url"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/net/idna"

	"fillmark/loops"
)

// The longest texts a letter takes, in bytes. They bound the letter as a whole.
const (
	maxName     = 200
	maxAddress  = 500 // as a record takes it, all in one line
	maxSentence = 600
	maxURL      = 900 // with the name of its header below the 998 of RFC 5322 2.1.1
)

// MaxCalendar is how many bytes of a calendar ride in a letter.
const MaxCalendar = 64 << 10

// problems collects what is wrong with an input, so that all of it is reported
// at once.
type problems []error

func (p *problems) add(err error) {
	if err != nil {
		*p = append(*p, err)
	}
}

func invalid(field, value, right string) error {
	const shown = 60
	if len(value) > shown {
		value = strings.ToValidUTF8(value[:shown], "") + "…"
	}
	return &loops.InvalidError{Field: field, Value: value, Reason: right}
}

// checkText refuses text that could break out of its line, so that nothing
// downstream has to escape line breaks.
func checkText(field, text string, maxBytes int) error {
	if len(text) > maxBytes {
		return invalid(field, text, fmt.Sprintf("at most %d bytes of text", maxBytes))
	}
	if !utf8.ValidString(text) {
		return invalid(field, text, "text in UTF-8")
	}
	for _, r := range text {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return invalid(field, text, "one line of text without control characters")
		}
	}
	return nil
}

func requireText(field, text string, maxBytes int) error {
	if strings.TrimSpace(text) == "" {
		return invalid(field, text, "some text")
	}
	return checkText(field, text, maxBytes)
}

// asciiAddress returns a bare address with its domain in the letters of the
// DNS. A relay without SMTPUTF8 takes no other, so a mailbox name outside ASCII
// is refused.
func asciiAddress(field, address string) (string, error) {
	if err := loops.CheckEmail(field, address); err != nil {
		return "", err
	}
	at := strings.LastIndexByte(address, '@')
	domain, err := idna.Lookup.ToASCII(address[at+1:])
	if err != nil {
		return "", invalid(field, address, "an address with a domain name after the @")
	}
	ascii := address[:at+1] + domain
	parsed, err := mail.ParseAddress(ascii)
	if err != nil || parsed.Address != ascii || !isPrintable(ascii) {
		return "", invalid(field, address, "an address with unaccented letters before the @")
	}
	return ascii, nil
}

// checkLink refuses what is not a web address below the workshop's own base:
// no letter of ours leads anywhere else.
func checkLink(field, link, base string) error {
	right := "a web address that begins with " + base
	if len(link) > maxURL || !isPrintable(link) || strings.ContainsAny(link, " <>\"\\") {
		return invalid(field, link, right)
	}
	u, err := url.Parse(link)
	b, baseErr := url.Parse(base)
	if err != nil || baseErr != nil || u.User != nil || u.Scheme != b.Scheme || u.Host != b.Host ||
		!strings.HasPrefix(u.Path, b.Path) {
		return invalid(field, link, right)
	}
	return nil
}

func checkBase(field, base string) error {
	u, err := url.Parse(base)
	if err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Host == "" || u.User != nil ||
		u.RawQuery != "" || u.Fragment != "" || len(base) > maxURL || !isPrintable(base) {
		return invalid(field, base, "the web address that owners reach, such as https://fillmark.example")
	}
	return nil
}

// checkMessageID accepts what [MessageIDFor] makes: <letters@domain>.
func checkMessageID(id string) error {
	left, domain, found := strings.Cut(strings.TrimSuffix(strings.TrimPrefix(id, "<"), ">"), "@")
	if !found || id != "<"+left+"@"+domain+">" || len(id) > 250 || !isDotAtom(left) || !isDotAtom(domain) {
		return invalid("message id", id, "an id such as <7f3a@fillmark.example>")
	}
	return nil
}

// checkCalendar refuses an event that is not a published one or whose lines
// could break the part it travels in. What stands in it is its maker's matter.
func checkCalendar(ics []byte) error {
	text := string(ics)
	bare := strings.ReplaceAll(text, "\r\n", "")
	switch {
	case len(ics) > MaxCalendar:
		return invalid("calendar", text, fmt.Sprintf("at most %d bytes", MaxCalendar))
	case !utf8.ValidString(text) || strings.ContainsAny(bare, "\r\n\x00"):
		return invalid("calendar", text, "UTF-8 text with CRLF at the end of each line")
	case !strings.HasPrefix(text, "BEGIN:VCALENDAR\r\n") || !strings.HasSuffix(text, "\r\nEND:VCALENDAR\r\n") ||
		!strings.Contains(text, "\r\nMETHOD:PUBLISH\r\n"):
		return invalid("calendar", text, "one VCALENDAR with METHOD:PUBLISH")
	}
	return nil
}

// isPrintable tells whether s is ASCII without control characters.
func isPrintable(s string) bool {
	for i := range len(s) {
		if s[i] < 0x20 || s[i] > 0x7e {
			return false
		}
	}
	return true
}

// isDotAtom tells whether s is a dot-atom of RFC 5322 3.2.3.
func isDotAtom(s string) bool {
	for atom := range strings.SplitSeq(s, ".") {
		if atom == "" || strings.IndexFunc(atom, func(r rune) bool { return !isAtomRune(r) }) >= 0 {
			return false
		}
	}
	return true
}

func isAtomRune(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' ||
		strings.ContainsRune("!#$%&'*+-/=?^_`{|}~", r)
}
