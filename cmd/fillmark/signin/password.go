// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package signin

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"fillmark/loops"
)

// Password length in characters. NIST SP 800-63B-4, section 3.1.1.2 (from
// memory): at least 15 where nothing else is asked for, no rules on their kind.
const (
	minPassword = 15
	maxPassword = 200
)

// CheckPassword refuses a password that is too short to hold or too long to be
// one.
func CheckPassword(password string) error {
	n := utf8.RuneCountInString(password)
	if n < minPassword || n > maxPassword || !utf8.ValidString(password) {
		return &loops.InvalidError{
			Field: "password", Value: fmt.Sprintf("%d characters", n),
			Reason: fmt.Sprintf("%d to %d characters; four words of your own are easy to type", minPassword, maxPassword),
		}
	}
	return nil
}

// Cost is what one hash of a password costs. The zero value is the second
// recommendation of RFC 9106, section 4: three passes over 64 MiB in four
// lanes.
type Cost struct {
	Passes   uint32
	MemoryKB uint32
	Lanes    uint8
}

const (
	saltBytes = 16 // RFC 9106, section 3.1
	hashBytes = 32
	// atOnce bounds how many hashes are computed together, and so the memory
	// that people who only try passwords can take.
	atOnce = 2
)

// hasher turns passwords into hashes and compares them.
type hasher struct {
	cost   Cost
	turns  chan struct{}
	known  chan struct{} // the turn of known browsers
	nobody string        // the hash that an unknown name is compared with
}

func newHasher(cost Cost) hasher {
	if cost == (Cost{}) {
		cost = Cost{Passes: 3, MemoryKB: 64 * 1024, Lanes: 4}
	}
	return hasher{
		cost: cost, turns: make(chan struct{}, atOnce), known: make(chan struct{}, 1),
		nobody: encodeHash(cost, randomBytes(saltBytes), make([]byte, hashBytes)), // nothing is known that leads to all zeros
	}
}

// randomBytes are from the system, which never fails to give them.
func randomBytes(n int) []byte {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never an error since Go 1.24
	return b
}

// hash returns the text form of a password's hash.
func (h hasher) hash(password string) string {
	salt := randomBytes(saltBytes)
	return encodeHash(h.cost, salt, derive(h.known, h.cost, salt, password, hashBytes))
}

// derive waits for its turn, then computes.
func derive(turns chan struct{}, c Cost, salt []byte, password string, length int) []byte {
	turns <- struct{}{}
	defer func() { <-turns }()
	return argon2.IDKey([]byte(password), salt, c.Passes, c.MemoryKB, c.Lanes, uint32(length))
}

// matches compares a password with a stored hash in time that does not depend
// on where they differ. No password matches an empty or unreadable hash, which
// costs the same time.
func (h hasher) matches(stored, password string, known bool) bool {
	cost, salt, want, ok := decodeHash(stored)
	if !ok {
		cost, salt, want, _ = decodeHash(h.nobody)
	}
	if len(password) > utf8.UTFMax*maxPassword {
		password, ok = "", false
	}
	turns := h.turns
	if known {
		turns = h.known
	}
	got := derive(turns, cost, salt, password, len(want))
	return subtle.ConstantTimeCompare(got, want) == 1 && ok
}

// encodeHash writes the form that argon2's own tools print:
// $argon2id$v=19$m=65536,t=3,p=4$salt$hash.
func encodeHash(c Cost, salt, hash []byte) string {
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.MemoryKB, c.Passes, c.Lanes,
		enc.EncodeToString(salt), enc.EncodeToString(hash))
}

func decodeHash(text string) (c Cost, salt, hash []byte, ok bool) {
	parts := strings.Split(text, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return c, nil, nil, false
	}
	n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.MemoryKB, &c.Passes, &c.Lanes)
	if err != nil || n != 3 || c.Passes == 0 || c.Lanes == 0 || c.MemoryKB > 1<<20 || c.Passes > 64 {
		return c, nil, nil, false
	}
	salt, saltErr := base64.RawStdEncoding.Strict().DecodeString(parts[4])
	hash, hashErr := base64.RawStdEncoding.Strict().DecodeString(parts[5])
	return c, salt, hash, saltErr == nil && hashErr == nil && len(salt) >= 8 && len(hash) >= 16
}
