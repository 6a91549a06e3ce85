// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"net/mail"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"fillmark/notify/links"
)

// Reachable tells whether somebody elsewhere can open the web address at all: it
// names no computer for itself and none that only its own network knows (RFC
// 1918, 4193, 6761, 6762, 8375 and 9476).
func Reachable(base string) bool {
	u, err := url.Parse(base)
	if err != nil || u.Host == "" {
		return false
	}
	host := strings.TrimSuffix(strings.ToLower(u.Hostname()), ".")
	if address, err := netip.ParseAddr(host); err == nil {
		address = address.Unmap()
		return address.IsGlobalUnicast() && !address.IsPrivate() && !sharedAddresses().Contains(address)
	}
	_, last, dotted := strings.Cut(host, ".")
	last = last[strings.LastIndexByte(last, '.')+1:]
	return dotted && !slices.Contains([]string{"localhost", "local", "internal", "lan", "home", "localdomain"}, last) && !strings.HasSuffix(host, ".home.arpa")
}

// sharedAddresses are those behind a provider's own translator (RFC 6598).
func sharedAddresses() netip.Prefix {
	return netip.PrefixFrom(netip.AddrFrom4([4]byte{100, 64, 0, 0}), 10)
}

// replyWords are what a ready-made mail of an owner says.
type replyWords struct {
	subject string
	body    string // what stands in it before the owner writes anything
}

var repliesReady = map[links.Saying]replyWords{
	links.SaysFine:  {"I looked, all is fine", "I looked, and all is fine."},
	links.SaysOff:   {"Something is off", "This is what I see, hear or feel:"},
	links.SaysCall:  {"Please call me", "Please call me. A good time is:"},
	links.SaysPause: {"A pause, please", "Please remind me no more of what is due now."},
	links.SaysStop:  {"Stop these mails", "Please send me no more mail."},
}

const (
	mailtoScheme = "mailto:"
	tokenMark    = "fm-" // leads the token in a subject
)

// Mailto is the address (RFC 6068) that opens a mail to the workshop with the
// saying and its token, ready to send.
func (w Workshop) Mailto(says links.Saying, token string) string {
	if token == "" {
		return ""
	}
	words := repliesReady[says]
	return mailtoScheme + url.PathEscape(w.From) + "?subject=" + mailEscape(words.subject+" ["+tokenMark+token+"]") + "&body=" + mailEscape(words.body+"\r\n")
}

// mailEscape escapes a value as RFC 6068 wants it: a plus stands for itself there.
func mailEscape(text string) string { return strings.ReplaceAll(url.QueryEscape(text), "+", "%20") }

// TokenIn finds the token of a reply in a subject, however the reader's mail
// program has led or ended that; empty where there is none.
func TokenIn(subject string) string {
	found := regexp.MustCompile(`(?i)\b` + tokenMark + `([a-z2-7]{24,120})\b`).FindStringSubmatch(subject)
	if found == nil {
		return ""
	}
	return strings.ToLower(found[1])
}

func isMailto(link string) bool { return strings.HasPrefix(link, mailtoScheme) }

// checkMailto refuses what opens no mail to the workshop, and to it alone.
func checkMailto(field, link, from string) error {
	right := "a mail to " + from
	u, err := url.Parse(link)
	if err != nil || len(link) > maxURL || !isPrintable(link) || strings.ContainsAny(link, " <>\"\\") {
		return invalid(field, link, right)
	}
	to, err := url.PathUnescape(u.Opaque)
	if err != nil || to != from {
		return invalid(field, link, right)
	}
	if _, err := mail.ParseAddress(to); err != nil {
		return invalid(field, link, right)
	}
	for name := range u.Query() {
		if name != "subject" && name != "body" {
			return invalid(field, link, right+" with subject and body alone")
		}
	}
	return nil
}
