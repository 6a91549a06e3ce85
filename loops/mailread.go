// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "crypto/sha256"

// MailPlace is where a mail lies in a mailbox of an IMAP server: its UID, which
// names it as long as the mailbox keeps its UIDVALIDITY (RFC 9051, 2.3.1.1).
type MailPlace struct {
	Mailbox  string `json:"mailbox"` // whose and which; at most 400 bytes
	Validity uint32 `json:"uid_validity"`
	UID      uint32 `json:"uid"`
}

// MailRead is a mail that an action has dealt with. What was done with it and
// that it was dealt with commit together, so that each is dealt with once.
type MailRead struct {
	Place MailPlace
	// Digest tells the mail again where its mailbox has numbered everything again.
	Digest MailDigest
}

// MailDigest names a mail by what stands in it.
type MailDigest [16]byte

// DigestOf is the digest of a mail as it was fetched.
func DigestOf(raw []byte) MailDigest {
	sum := sha256.Sum256(raw)
	return MailDigest(sum[:16])
}
