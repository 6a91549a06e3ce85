// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/signin"
	"fillmark/loops"
)

// passwordPage lets the holder of a link set a password.
type passwordPage struct {
	frame
	Whose   string // empty for the first technician, who chooses a name
	Name    string // as typed
	Problem string
}

func (s *server) pagePassword(w http.ResponseWriter, r *http.Request) error {
	whose, err := s.passwordLink(r)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "password", s.passwordPage(r, whose))
}

// passwordLink opens the link in the path, as often as a person would.
func (s *server) passwordLink(r *http.Request) (whose string, err error) {
	if err := s.throttles.signInFrom.take(visitOf(r).neighbourhood(), s.Now()); err != nil {
		return "", err
	}
	return s.Gate.LinkFor(r.PathValue("secret"), s.Now().UTC())
}

func (s *server) passwordPage(r *http.Request, whose string) passwordPage {
	p := passwordPage{frame: s.newFrame(r, "Set a password"), Whose: whose}
	p.Door = true
	return p
}

func (s *server) setPassword(w http.ResponseWriter, r *http.Request) error {
	whose, err := s.passwordLink(r)
	if err != nil {
		return err
	}
	p := s.passwordPage(r, whose)
	password, err := newPassword(r)
	p.Name = strings.TrimSpace(r.PostForm.Get("name"))
	var who loops.Technician
	if err == nil {
		who, err = s.Gate.UseLink(r.PathValue("secret"), p.Name, password, s.Now().UTC())
	}
	if problems := problemsOf(err); len(problems) > 0 {
		p.Problem = passwordProblem(problems)
		return s.render(w, http.StatusUnprocessableEntity, "password", p)
	}
	if err != nil {
		return err
	}
	secret, err := s.Gate.SignIn(who.Name, password, true, s.Now().UTC())
	if err != nil {
		return err
	}
	s.setCookie(w, secret)
	if err := s.getToKnow(w, r); err != nil {
		return err
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// newPassword reads a password that has to be typed twice.
func newPassword(r *http.Request) (string, error) {
	if err := r.ParseForm(); err != nil {
		return "", formFault(err)
	}
	password := r.PostForm.Get("password")
	if password != r.PostForm.Get("again") {
		return "", &loops.InvalidError{Field: "password", Value: "two different ones", Reason: "the same password in both fields"}
	}
	return password, nil
}

func passwordProblem(problems []Problem) string {
	var right []string
	for _, p := range problems {
		right = append(right, p.Field+": "+p.Right)
	}
	return "Not set yet. Expected: " + strings.Join(right, "; ") + "."
}

// accountPage is the technician's own: whom the register records, the
// password, the way out.
type accountPage struct {
	frame
	Problem string
}

func (s *server) accountPage(r *http.Request) accountPage {
	p := accountPage{frame: s.newFrame(r, "Your sign-in")}
	p.Here = "account"
	return p
}

func (s *server) pageAccount(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, http.StatusOK, "account", s.accountPage(r))
}

func (s *server) changePassword(w http.ResponseWriter, r *http.Request) error {
	who := visitOf(r).technician
	if who == "" {
		return errSignIn
	}
	if err := s.throttles.signInKnown.take("account "+strings.ToLower(who), s.Now()); err != nil {
		return err
	}
	password, err := newPassword(r)
	if err == nil {
		err = s.Gate.ChangePassword(who, r.PostForm.Get("present"), password, s.ownStamp(r))
	}
	p := s.accountPage(r)
	problems := problemsOf(err)
	switch {
	case errors.Is(err, signin.ErrRefused):
		p.Problem = "Not changed: the current password is wrong."
		return s.render(w, http.StatusUnprocessableEntity, "account", p)
	case len(problems) > 0:
		p.Problem = passwordProblem(problems)
		return s.render(w, http.StatusUnprocessableEntity, "account", p)
	case err != nil:
		return err
	}
	// The new password ended every sign-in: this browser gets another.
	secret, err := s.Gate.SignIn(who, password, true, s.Now().UTC())
	if err != nil {
		return err
	}
	s.setCookie(w, secret)
	http.Redirect(w, r, "/account", http.StatusSeeOther)
	return nil
}
