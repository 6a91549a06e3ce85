// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package signin

import (
	"errors"
	"fmt"
	"time"

	"fillmark/loops"
)

// Add records a technician. Where the password is empty they have none yet and
// set one with a link, see [Gate.Link].
func (g *Gate) Add(name, password string, s Stamp) (loops.Technician, error) {
	t := loops.Technician{Name: name, Added: s.At}
	err := t.Validate()
	if password != "" {
		err = errors.Join(err, CheckPassword(password))
	}
	if err != nil {
		return loops.Technician{}, err
	}
	if err := g.unused(name); err != nil {
		return loops.Technician{}, err
	}
	if password != "" {
		t.Password, t.PasswordSet = g.hasher.hash(password), s.At
	}
	if err := g.register.CommitAccess(loops.Access{At: s.At, By: s.By, Action: "technician add", Technicians: []loops.Technician{t}}); err != nil {
		return loops.Technician{}, err
	}
	return g.register.Technician(name)
}

// unused refuses a name that somebody has already.
func (g *Gate) unused(name string) error {
	other, err := g.register.Technician(name)
	switch {
	case err == nil:
		return &loops.InvalidError{Field: "name", Value: name, Reason: fmt.Sprintf("a name that is not taken; %s is on record", other.Name)}
	case errors.Is(err, loops.ErrNotFound):
		return nil
	}
	return err
}

// SetPassword gives the technician a new password and ends all their sign-ins
// and links.
func (g *Gate) SetPassword(name, password string, s Stamp) (loops.Technician, error) {
	if err := CheckPassword(password); err != nil {
		return loops.Technician{}, err
	}
	t, err := g.register.Technician(name)
	if err != nil {
		return loops.Technician{}, err
	}
	return g.setPassword(t, password, s)
}

func (g *Gate) setPassword(t loops.Technician, password string, s Stamp, used ...string) (loops.Technician, error) {
	t.Password, t.PasswordSet = g.hasher.hash(password), s.At
	err := g.register.CommitAccess(loops.Access{
		At: s.At, By: s.By, Action: "technician password", Technicians: []loops.Technician{t},
		SignedOutAll: []string{t.Folded()}, Used: used,
	})
	if err != nil {
		return loops.Technician{}, err
	}
	return g.register.Technician(t.Name)
}

// ChangePassword is [Gate.SetPassword] for technicians themselves, who have to
// know the present password; else [ErrRefused].
func (g *Gate) ChangePassword(name, present, password string, s Stamp) error {
	t, err := g.register.Technician(name)
	if err != nil {
		return err
	}
	if !g.hasher.matches(t.Password, present, true) {
		return ErrRefused
	}
	if err := CheckPassword(password); err != nil {
		return err
	}
	_, err = g.setPassword(t, password, s)
	return err
}

// staysClosed refuses to let the last technician with a password go: what is
// closed never opens again.
func (g *Gate) staysClosed(without loops.Technician) error {
	if without.Password == "" {
		return nil
	}
	for t, err := range g.register.Technicians() {
		if err != nil || t.Password != "" && t.Folded() != without.Folded() {
			return err
		}
	}
	return &loops.InvalidError{Field: "name", Value: without.Name, Reason: "not the last technician with a password; add another one first, so that the bench stays closed"}
}

// Remove takes a technician off the list and ends their sign-ins and links; not
// the last one with a password.
// What they did stays recorded under their name.
func (g *Gate) Remove(name string, s Stamp) error {
	t, err := g.register.Technician(name)
	if err != nil {
		return err
	}
	if err := g.staysClosed(t); err != nil {
		return err
	}
	return g.register.CommitAccess(loops.Access{At: s.At, By: s.By, Action: "technician remove", Removed: []string{t.Folded()}})
}

// Link returns the secret of a link with which the technician sets a password,
// once and within the hour. The empty name is for the first technician.
func (g *Gate) Link(name string, s Stamp) (string, error) {
	token := loops.PasswordToken{Expires: s.At.Add(linkLife)}
	if name != "" {
		t, err := g.register.Technician(name)
		if err != nil {
			return "", err
		}
		token.Technician = t.Folded()
	}
	secret := NewSecret()
	token.Hash = hashOf(secret)
	return secret, g.register.CommitAccess(loops.Access{
		At: s.At, By: s.By, Action: "password link", Tokens: []loops.PasswordToken{token}, Forget: limitsAt(s.At),
	})
}

// LinkFor opens the link of [Gate.Link] without using it, and returns whose
// password it sets: empty for the first technician's. Any failure that is the
// link's is [ErrLink].
func (g *Gate) LinkFor(secret string, at time.Time) (name string, err error) {
	token, err := g.register.PasswordToken(hashOf(secret))
	if errors.Is(err, loops.ErrNotFound) || err == nil && !at.Before(token.Expires) {
		return "", ErrLink
	}
	if err != nil {
		return "", err
	}
	if token.Technician == "" {
		// The first technician's link is worth nothing once there is one.
		closed, err := g.Closed()
		if err == nil && closed {
			err = ErrLink
		}
		return "", err
	}
	t, err := g.register.Technician(token.Technician)
	if errors.Is(err, loops.ErrNotFound) {
		return "", ErrLink
	}
	return t.Name, err
}

// UseLink sets the password of the link's technician, who is added under the
// name where the link is the first technician's. The link is used up by it.
func (g *Gate) UseLink(secret, name, password string, at time.Time) (loops.Technician, error) {
	whose, err := g.LinkFor(secret, at)
	if err != nil {
		return loops.Technician{}, err
	}
	t := loops.Technician{Name: name, Added: at}
	if whose != "" {
		if t, err = g.register.Technician(whose); err != nil {
			return loops.Technician{}, err
		}
	}
	if err := errors.Join(t.Validate(), CheckPassword(password)); err != nil {
		return loops.Technician{}, err
	}
	if whose == "" {
		// Somebody may be on record without a password yet.
		if other, err := g.register.Technician(name); err == nil {
			t = other
		} else if !errors.Is(err, loops.ErrNotFound) {
			return loops.Technician{}, err
		}
	}
	t, err = g.setPassword(t, password, Stamp{At: at, By: t.Name}, hashOf(secret))
	if errors.Is(err, loops.ErrNotFound) {
		return loops.Technician{}, ErrLink // somebody used it meanwhile
	}
	return t, err
}
