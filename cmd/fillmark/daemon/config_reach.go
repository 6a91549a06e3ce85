// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"net/netip"
	"net/url"
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/notify"
)

// ReachProblems are what is possible and yet never right where mail goes out to
// owners: a sender or links that exist for nobody. `config check` and the start
// refuse them, and no mail leaves with them.
func (c Config) ReachProblems() (found []error) {
	if fault := c.senderFault(); fault != "" {
		found = append(found, &loops.InvalidError{Field: "mail.from", Value: c.Mail.From, Reason: fault + "; an address in a domain of yours is right"})
	}
	if fault := c.linksFault(); fault != "" {
		found = append(found, &loops.InvalidError{Field: "base_url", Value: c.BaseURL, Reason: fault + "; the address at which owners reach the pages is right, or none: they answer by mail then"})
	}
	return found
}

// goesOut tells that mail leaves for people.
func (c Config) goesOut() bool { return c.Mail.Transport == "smtp" && !c.Mail.Trial }

// senderFault says why nobody can be written to from mail.from; empty where they
// can.
func (c Config) senderFault() string {
	if !c.goesOut() {
		return ""
	}
	domain := c.MailDomain()
	_, noName := netip.ParseAddr(domain)
	switch {
	case reservedName(domain):
		return domain + " is a name for examples, so that answers and reports reach nobody"
	case noName == nil || notify.LocalName(domain):
		return domain + " is known to one network alone, so that answers and reports reach nobody"
	}
	return ""
}

// linksFault says why what base_url names is nowhere that an owner's link could
// lead; empty where it is somewhere, and where it is not set.
func (c Config) linksFault() string {
	u, err := url.Parse(c.BaseURL)
	if err != nil || c.BaseURL == "" || !c.goesOut() {
		return ""
	}
	host := u.Hostname()
	at, err := netip.ParseAddr(host)
	switch {
	case isLoopbackName(host) || err == nil && (at.IsUnspecified() || at.IsLinkLocalUnicast()):
		return "links would lead to " + c.BaseURL + ", which every owner's computer takes for itself"
	case reservedName(host):
		return host + " is a name for examples, which nobody can open"
	}
	return ""
}

// WithoutLinks says that letters have no links, and how owners answer then; empty
// where they have links, and where none leaves.
func (c Config) WithoutLinks() string {
	if !c.goesOut() || notify.Reachable(c.BaseURL) {
		return ""
	}
	why := "since base_url is not set"
	if c.BaseURL != "" {
		why = "since only your own network knows " + c.BaseURL
	}
	read := "mail.imap reads it"
	if c.Mail.IMAP.Address == "" {
		read = "a person has to read it, since mail.imap is not set"
	}
	return "letters have no links, " + why + ": owners answer by mail to " + c.Mail.From + ", and " + read
}

// reservedName tells the names that RFC 2606 and RFC 6761 keep for tests and
// examples.
func reservedName(host string) bool {
	labels := strings.Split(strings.ToLower(strings.TrimSuffix(host, ".")), ".")
	last := labels[len(labels)-1]
	if slices.Contains([]string{"example", "test", "invalid", "localhost"}, last) {
		return true
	}
	return len(labels) > 1 && labels[len(labels)-2] == "example" && slices.Contains([]string{"com", "net", "org"}, last)
}
