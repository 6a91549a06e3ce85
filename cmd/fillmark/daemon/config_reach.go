// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"net/netip"
	"net/url"
	"slices"
	"strings"

	"fillmark/loops"
)

// ReachProblems are what is possible and yet never right where mail goes out to
// owners: a sender or links that exist for nobody. `config check` and the start
// refuse them, and no mail leaves with them.
func (c Config) ReachProblems() (found []error) {
	if fault := c.senderFault(); fault != "" {
		found = append(found, &loops.InvalidError{Field: "mail.from", Value: c.Mail.From, Reason: fault + "; an address in a domain of yours is right"})
	}
	if fault := c.linksFault(); fault != "" {
		found = append(found, &loops.InvalidError{Field: "base_url", Value: c.BaseURL, Reason: fault + "; the address at which owners reach the pages is right"})
	}
	return found
}

// goesOut tells that mail leaves for people.
func (c Config) goesOut() bool { return c.Mail.Transport == "smtp" && !c.Mail.Trial }

// senderFault says why nobody can be written to from mail.from; empty where they
// can.
func (c Config) senderFault() string {
	if domain := c.MailDomain(); c.goesOut() && reservedName(domain) {
		return domain + " is a name for examples, so that answers and reports reach nobody"
	}
	return ""
}

// linksFault says why owners cannot open the links in letters; empty where they
// can.
func (c Config) linksFault() string {
	u, err := url.Parse(c.base())
	if err != nil || !c.goesOut() {
		return ""
	}
	host := u.Hostname()
	at, err := netip.ParseAddr(host)
	switch {
	case isLoopbackName(host) || err == nil && (at.IsUnspecified() || at.IsLinkLocalUnicast()):
		return "links would lead to " + c.base() + ", which every owner's computer takes for itself"
	case reservedName(host):
		return host + " is a name for examples, which nobody can open"
	case homeName(host):
		return host + " is a name that only the network of one home knows (RFC 8375), so that no owner can open it"
	}
	return ""
}

// homeName tells a name of the domain that RFC 8375 keeps for the network of a
// home.
func homeName(host string) bool {
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	return host == "home.arpa" || strings.HasSuffix(host, ".home.arpa")
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
