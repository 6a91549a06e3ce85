// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import "strings"

// failures say what the codes of RFC 3463 mean, without their class, and what
// to ask the owner for. A code is matched by its longest entry here.
var failures = map[string]struct{ words, ask string }{
	"1":   {"address not known there", "ask for the right address"},
	"1.1": {"no such mailbox", "ask for the right address"},
	"1.2": {"no such domain", "ask for the right address"},
	"1.6": {"mailbox has moved", "ask for the new address"},
	"2":   {"mailbox does not take mail", "ask for another address"},
	"2.1": {"mailbox switched off", "ask for another address"},
	"2.2": {"mailbox full", "ask them to make room in it"},
	"2.3": {"letter too long for the mailbox", "send a printed letter"},
	"3":   {"their mail system does not take it", "try again later or send a printed letter"},
	"4":   {"their mail system cannot be reached", "check the address"},
	"6":   {"form of the letter not taken", "send a printed letter"},
	"7":   {"taken for unwanted mail", "ask them to let our address through"},
}

// FailureInWords says in a few words what a status of RFC 3463 means, and what to
// ask the owner for. Where there is no status, or none that says anything, the
// words are "not taken" and the address is in question.
func FailureInWords(status string) (words, ask string) {
	_, code, _ := strings.Cut(status, ".")
	for code != "" {
		if f, ok := failures[code]; ok {
			return f.words, f.ask
		}
		code, _, _ = strings.Cut(code, ".")
		if _, ok := failures[code]; !ok {
			break
		}
	}
	return "not taken", "ask whether the address is right"
}
