// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"
	"strings"
	"time"
)

// Technician is somebody who may sign in to the bench pages. The name is what
// they sign in with and what the register records them as.
type Technician struct {
	Name     string `json:"name"`
	Revision uint64 `json:"revision"` // raised by the store at every write
	// Password is the argon2id hash in its text form, never the password; empty
	// until one is set. It is in no JSON that leaves the store.
	Password string    `json:"-"`
	Added    time.Time `json:"added"`
	// PasswordSet is zero until a password is set.
	PasswordSet time.Time `json:"password_set,omitzero"`
}

// reservedActors are names by which the register records what no technician
// did.
func reservedActors() []string {
	return []string{"local", "owner", "page", "schedule", "unknown"}
}

// Validate returns what is wrong with the technician's name.
func (t Technician) Validate() error {
	if err := requireText("name", t.Name, 60); err != nil {
		return err
	}
	if t.Name != strings.TrimSpace(t.Name) || strings.ContainsAny(t.Name, ":/") {
		return invalid("name", t.Name, "a name without blanks at its ends, colons and slashes")
	}
	if slices.Contains(reservedActors(), t.Folded()) {
		return invalid("name", t.Name, "another name: the register uses this one itself")
	}
	return nil
}

// Folded is the name by which the technician is found: those that differ only
// in case are one.
func (t Technician) Folded() string { return strings.ToLower(t.Name) }

// SignIn is one browser that a technician is signed in with.
type SignIn struct {
	// Hash is the SHA-256 of the secret in the cookie, in hexadecimal.
	Hash       string    `json:"hash"`
	Technician string    `json:"technician"` // as in [Technician.Folded]
	Began      time.Time `json:"began"`
	// Seen is when it was last used, give or take some minutes.
	Seen time.Time `json:"seen"`
}

// PasswordToken lets its holder set a technician's password once.
type PasswordToken struct {
	// Hash is the SHA-256 of the secret in the link, in hexadecimal.
	Hash string `json:"hash"`
	// Technician is as in [Technician.Folded]; empty for the first technician,
	// whose name is chosen with the password.
	Technician string    `json:"technician,omitempty"`
	Expires    time.Time `json:"expires"`
}

// Access is what one action writes about who may sign in, as plain data. It
// commits entirely or not at all.
type Access struct {
	At time.Time
	By string
	// Action is for the audit; where it is empty no line is written, as when a
	// sign-in is merely seen again.
	Action string
	// Technicians are added or changed, each with the revision it was read at.
	Technicians []Technician
	// Removed are folded names of technicians who go, with their sign-ins and
	// tokens.
	Removed []string
	// SignIns are added.
	SignIns []SignIn
	// Seen are sign-ins as they were last used: each takes the place of the one on
	// record, and one that ended meanwhile stays ended.
	Seen []SignIn
	// Unchanged are technicians on whom the change rests, as they were read.
	Unchanged []Technician
	// SignedOut are hashes of sign-ins that end; one that is not there is fine.
	SignedOut []string
	// SignedOutAll are folded names of technicians whose every sign-in and link
	// ends, before SignIns and Tokens are written.
	SignedOutAll []string
	// Tokens are added.
	Tokens []PasswordToken
	// Used are hashes of tokens that are spent: each has to be there.
	Used []string
	// Forget ends sign-ins last seen, and tokens good, before then; zero keeps
	// all.
	Forget SignInLimits
}

// SignInLimits are the instants before which sign-ins and tokens are over.
type SignInLimits struct {
	Began, Seen, Expires time.Time
}

// Over tells that the sign-in is past its time.
func (l SignInLimits) Over(s SignIn) bool { return s.Began.Before(l.Began) || s.Seen.Before(l.Seen) }
