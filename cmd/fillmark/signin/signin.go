// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package signin decides who a technician is: passwords, the sign-ins of
// browsers, and the links with which a password is set.
//
// Main type: [Gate], safe for concurrent use. Secrets are 256 random bits; the
// register keeps only their SHA-256, and of passwords only an argon2id hash.
// Time and the acting person come in with each call. Callers may match
// [ErrRefused], [ErrLink], loops.ErrNotFound and loops.ErrConflict.
package signin

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"iter"
	"time"

	"fillmark/loops"
)

// ErrRefused says that the name or the password is wrong. It does not
// say which of them is wrong, so that trying names teaches nothing.
var ErrRefused = errors.New("wrong name or password")

// ErrLink says that a link to set a password was used, is past its time or
// was never given out.
var ErrLink = errors.New("this link can no longer set a password")

// SignInLife is how long a sign-in lasts at most. Common practice, no source.
const SignInLife = 7 * 24 * time.Hour

// How long a sign-in lasts that nobody uses, a working day, and how long a link
// works, long enough to walk to another computer. Common practice, no source.
const (
	idleLife = 12 * time.Hour
	linkLife = time.Hour
)

// seenStep is how old the note of the last use may be: without it every page
// would be a write.
const seenStep = 10 * time.Minute

// register is what the gate reads from and writes to the store.
type register interface {
	Technicians() iter.Seq2[loops.Technician, error]
	Technician(name string) (loops.Technician, error)
	SignedIn(hash string) (loops.SignIn, loops.Technician, error)
	PasswordToken(hash string) (loops.PasswordToken, error)
	CommitAccess(loops.Access) error
}

// Gate knows who may come in.
type Gate struct {
	register register
	hasher   hasher
}

// New returns a gate on the register. The zero cost is that of RFC 9106; less is
// for tests.
func New(r register, cost Cost) *Gate { return &Gate{register: r, hasher: newHasher(cost)} }

// Stamp tells when something is done and by whom.
type Stamp struct {
	At time.Time
	By string
}

// Closed tells whether some technician has a password, so that pages are shown
// to nobody who has not signed in.
func (g *Gate) Closed() (bool, error) {
	for t, err := range g.register.Technicians() {
		if err != nil || t.Password != "" {
			return true, err
		}
	}
	return false, nil
}

// Technicians lists all technicians by name.
func (g *Gate) Technicians() ([]loops.Technician, error) {
	all := []loops.Technician{}
	for t, err := range g.register.Technicians() {
		if err != nil {
			return nil, err
		}
		all = append(all, t)
	}
	return all, nil
}

// SignIn compares the password and returns the secret of a new sign-in, or
// [ErrRefused]. Known is for a browser in which somebody signed in before: it
// has a turn of its own and never waits behind strangers.
func (g *Gate) SignIn(name, password string, known bool, at time.Time) (secret string, err error) {
	t, err := g.technician(name)
	if err != nil && !errors.Is(err, loops.ErrNotFound) {
		return "", err
	}
	// An unknown name costs the same time as a wrong password.
	if !g.hasher.matches(t.Password, password, known) || err != nil {
		return "", ErrRefused
	}
	secret = NewSecret()
	err = g.register.CommitAccess(loops.Access{
		At: at, By: t.Name, Action: "sign-in", Forget: limitsAt(at), Unchanged: []loops.Technician{t},
		SignIns: []loops.SignIn{{Hash: hashOf(secret), Technician: t.Folded(), Began: at, Seen: at}},
	})
	if errors.Is(err, loops.ErrConflict) || errors.Is(err, loops.ErrNotFound) {
		return "", ErrRefused // it was their password until a moment ago
	}
	return secret, err
}

// technician is the register's answer for what somebody typed as a name: what
// can be nobody's name is not looked up.
func (g *Gate) technician(name string) (loops.Technician, error) {
	if (loops.Technician{Name: name}).Validate() != nil {
		return loops.Technician{}, loops.ErrNotFound
	}
	return g.register.Technician(name)
}

// Who returns the technician whom a secret from [Gate.SignIn] belongs to, or
// [ErrRefused] where the sign-in ended or is past its time.
func (g *Gate) Who(secret string, at time.Time) (loops.Technician, error) {
	s, t, err := g.register.SignedIn(hashOf(secret))
	if errors.Is(err, loops.ErrNotFound) || err == nil && limitsAt(at).Over(s) {
		return loops.Technician{}, ErrRefused
	}
	if err != nil {
		return loops.Technician{}, err
	}
	if at.Sub(s.Seen) >= seenStep {
		s.Seen = at
		err = g.register.CommitAccess(loops.Access{At: at, By: t.Name, Seen: []loops.SignIn{s}})
	}
	if loops.NoWrite(err) {
		err = nil // who only reads needs no note: a full disk does not shut the bench
	}
	return t, err
}

// SignOut ends one sign-in.
func (g *Gate) SignOut(secret string, s Stamp) error {
	return g.register.CommitAccess(loops.Access{At: s.At, By: s.By, Action: "sign-out", SignedOut: []string{hashOf(secret)}})
}

// SignOutEverywhere ends every sign-in of the technician, and every link that
// sets their password.
func (g *Gate) SignOutEverywhere(name string, s Stamp) error {
	t, err := g.register.Technician(name)
	if err != nil {
		return err
	}
	return g.register.CommitAccess(loops.Access{At: s.At, By: s.By, Action: "sign-out everywhere", SignedOutAll: []string{t.Folded()}})
}

func limitsAt(at time.Time) loops.SignInLimits {
	return loops.SignInLimits{Began: at.Add(-SignInLife), Seen: at.Add(-idleLife), Expires: at}
}

// NewSecret returns 256 random bits as text for a cookie or a link.
func NewSecret() string { return base64.RawURLEncoding.EncodeToString(randomBytes(32)) }

// hashOf is what the register keeps of a secret. Secrets are random, so a fast
// hash without salt is as hard to turn back as the secret is to guess.
func hashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}
