// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

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

// Who may sign in is decided on the computer itself: a browser left signed in
// lets nobody in for good.

func (s *server) apiTechnicians(*http.Request) (any, error) {
	all, err := s.Gate.Technicians()
	return list[loops.Technician]{all}, err
}

func (s *server) apiAddTechnician(r *http.Request) (any, error) {
	if err := localOnly(r); err != nil {
		return nil, err
	}
	asked, err := decode[NewTechnician](r)
	if err != nil {
		return nil, err
	}
	return s.Gate.Add(asked.Name, asked.Password, s.ownStamp(r))
}

func (s *server) apiSetPassword(r *http.Request) (any, error) {
	if err := localOnly(r); err != nil {
		return nil, err
	}
	asked, err := decode[NewPassword](r)
	if err != nil {
		return nil, err
	}
	return s.Gate.SetPassword(r.PathValue("name"), asked.Password, s.ownStamp(r))
}

func (s *server) apiPasswordLink(r *http.Request) (any, error) {
	if err := localOnly(r); err != nil {
		return nil, err
	}
	secret, err := s.Gate.Link(r.PathValue("name"), s.ownStamp(r))
	return PasswordLink{s.Workshop.Settings().BaseURL + PasswordPath(secret)}, err
}

// apiFirstLink gives the link with which the first technician sets name and
// password, while nobody has one.
func (s *server) apiFirstLink(r *http.Request) (any, error) {
	closed, err := s.Gate.Closed()
	if err != nil {
		return nil, err
	}
	if closed {
		return nil, &loops.InvalidError{Field: "name", Value: "none", Reason: "the name of a technician: somebody has a password already, so nobody is the first"}
	}
	secret, err := s.Gate.Link("", s.ownStamp(r))
	return PasswordLink{s.Workshop.Settings().BaseURL + PasswordPath(secret)}, err
}

// StartPath is where the pages take the secret of the start link.
func StartPath(secret string) string { return "/start/" + secret }

// PasswordPath is where the pages take the secret of a password link.
func PasswordPath(secret string) string { return "/password/" + secret }

func (s *server) apiRemoveTechnician(r *http.Request) (any, error) {
	if err := localOnly(r); err != nil {
		return nil, err
	}
	err := s.Gate.Remove(r.PathValue("name"), s.ownStamp(r))
	return struct{}{}, err
}
