// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"

	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// NewTechnician asks for a technician. The password may be empty: it is set
// with a link then.
type NewTechnician struct {
	Name     string `json:"name"`
	Password string `json:"password,omitempty"`
}

// NewPassword asks for another password.
type NewPassword struct {
	Password string `json:"password"`
}

// PasswordLink is where a technician sets a password, once and within the
// hour.
type PasswordLink struct {
	Link string `json:"link"`
}

func (s *server) addTechnician(stamp workshop.Stamp, asked NewTechnician) (loops.Technician, error) {
	return s.Gate.Add(asked.Name, asked.Password, signin.Stamp(stamp))
}

func (s *server) setPasswordOf(stamp workshop.Stamp, name string, asked NewPassword) (loops.Technician, error) {
	return s.Gate.SetPassword(name, asked.Password, signin.Stamp(stamp))
}

func (s *server) newPasswordLink(stamp workshop.Stamp, name string) (PasswordLink, error) {
	secret, err := s.Gate.Link(name, signin.Stamp(stamp))
	return PasswordLink{s.bench() + PasswordPath(secret)}, err
}

// bench is where technicians open the pages: with the workshop's own authority by
// a name that phones reach too.
func (s *server) bench() string {
	return cmp.Or(s.BenchAt, s.Workshop.Settings().BaseURL)
}

// firstLink gives the link with which the first technician sets name and
// password, while nobody has one.
func (s *server) firstLink(stamp workshop.Stamp, _ struct{}) (PasswordLink, error) {
	closed, err := s.Gate.Closed()
	if err != nil {
		return PasswordLink{}, err
	}
	if closed {
		return PasswordLink{}, &loops.InvalidError{Field: "name", Value: "none", Reason: "the name of a technician: somebody has a password already, so nobody is the first"}
	}
	secret, err := s.Gate.Link("", signin.Stamp(stamp))
	return PasswordLink{s.Workshop.Settings().BaseURL + PasswordPath(secret)}, err
}

// StartPath is where the pages take the secret of the start link.
func StartPath(secret string) string { return "/start/" + secret }

// PasswordPath is where the pages take the secret of a password link.
func PasswordPath(secret string) string { return "/password/" + secret }

func (s *server) removeTechnician(stamp workshop.Stamp, name string) (struct{}, error) {
	return struct{}{}, s.Gate.Remove(name, signin.Stamp(stamp))
}
