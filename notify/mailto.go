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

	"fillmark/loops"
	"fillmark/notify/links"
	"fillmark/notify/words"
)

// Reachable tells whether somebody elsewhere can open the web address at all: it
// names no computer for itself and none that only its own network knows (RFC
// 1918, 4193, 6761, 6762 and 8375).
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
	return !LocalName(host)
}

// LocalName tells a host name that nothing beyond its own network knows: one
// without a dot, or below a name that is kept for such networks or common in them.
func LocalName(host string) bool {
	host = strings.TrimSuffix(strings.ToLower(host), ".")
	_, last, dotted := strings.Cut(host, ".")
	last = last[strings.LastIndexByte(last, '.')+1:]
	return !dotted || slices.Contains([]string{"localhost", "local", "internal", "lan", "home", "localdomain"}, last) ||
		host == "home.arpa" || strings.HasSuffix(host, ".home.arpa")
}

// sharedAddresses are those behind a provider's own translator (RFC 6598).
func sharedAddresses() netip.Prefix {
	return netip.PrefixFrom(netip.AddrFrom4([4]byte{100, 64, 0, 0}), 10)
}

// ready is a ready-made mail, as the catalogue has its texts.
type ready struct{ subject, body string }

// readyMails are those of the sayings. What is said as on the owners' page is said in
// its words.
var readyMails = map[links.Saying]ready{
	links.SaysFine:  {"reply.fine.subject", "reply.fine.body"},
	links.SaysOff:   {"reply.off.subject", "reply.off.body"},
	links.SaysCall:  {"reply.call.subject", "reply.call.body"},
	links.SaysPause: {"reply.pause.subject", "reply.pause.body"},
	links.SaysStop:  {"reply.stop.subject", "reply.stop.body"},
	links.SaysLater: {"reply.fortnight", "reply.fortnight"},
	links.SaysMoved: {"page.gone.moved", "page.gone.moved"},
	links.SaysSold:  {"page.gone.sold", "page.gone.sold"},
	links.SaysDone:  {"page.gone.elsewhere", "page.gone.elsewhere"},
}

// readyBodies are what stands in the ready-made mails before an owner writes
// anything, in every language: who reads a mail cannot know which was used. Their
// spaces are plain, as mail programs may have made them.
func readyBodies() []string {
	var bodies []string
	for _, l := range loops.Languages() {
		for _, mail := range readyMails {
			body := words.In(l).Say(mail.body)
			bodies = append(bodies, strings.Join(strings.Fields(body), " "))
		}
	}
	return bodies
}

const (
	mailtoScheme = "mailto:"
	tokenMark    = "fm-" // leads the token in a subject
)

// Mailto is the address (RFC 6068) that opens a mail to the workshop with the
// saying and its token, ready to send.
func (w Workshop) Mailto(ws words.Words, says links.Saying, token string) string {
	if token == "" {
		return ""
	}
	mail := readyMails[says]
	subject := ws.Say(mail.subject) + " [" + tokenMark + token + "]"
	return mailtoScheme + url.PathEscape(w.From) + "?subject=" + mailEscape(subject) + "&body=" + mailEscape(ws.Say(mail.body)+"\r\n")
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
