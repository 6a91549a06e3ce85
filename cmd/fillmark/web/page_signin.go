// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/signin"
)

// signInPage asks who somebody is.
type signInPage struct {
	frame
	Name    string
	To      string // the page they wanted
	Problem string
}

func (s *server) pageSignIn(w http.ResponseWriter, r *http.Request) error {
	p := signInPage{frame: s.newFrame(r, "Sign in"), To: ownPath(r.URL.Query().Get("to"))}
	p.Door = true
	return s.render(w, http.StatusOK, "sign-in", p)
}

// signIn begins a sign-in. Tries are counted before a password is compared, see
// [server.mayTry].
func (s *server) signIn(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return formFault(err)
	}
	p := signInPage{frame: s.newFrame(r, "Sign in"), Name: strings.TrimSpace(r.PostForm.Get("name")), To: ownPath(r.PostForm.Get("to"))}
	p.Door = true
	err := s.mayTry(r, shortened(strings.ToLower(p.Name)))
	var secret string
	if err == nil {
		secret, err = s.Gate.SignIn(p.Name, r.PostForm.Get("password"), s.knownBrowser(r) != "", s.Now().UTC())
	}
	switch status, failure := failureOf(err); {
	case err == nil:
		s.setCookie(w, secret)
		if err := s.getToKnow(w, r); err != nil {
			return err
		}
		http.Redirect(w, r, p.To, http.StatusSeeOther)
		return nil
	case errors.Is(err, signin.ErrRefused), status == http.StatusTooManyRequests:
		p.Problem = "Not signed in: " + failure.Message + "."
		setRetryAfter(w, err)
		return s.render(w, status, "sign-in", p)
	}
	return err
}

// shortened bounds what the throttle remembers of a name.
func shortened(name string) string { return name[:min(len(name), 100)] }

func (s *server) signOut(w http.ResponseWriter, r *http.Request) error {
	if v := visitOf(r); v.secret != "" {
		if err := s.Gate.SignOut(v.secret, s.ownStamp(r)); err != nil {
			return err
		}
	}
	s.setCookie(w, "")
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	return nil
}

func (s *server) signOutEverywhere(w http.ResponseWriter, r *http.Request) error {
	if v := visitOf(r); v.technician != "" {
		if err := s.Gate.SignOutEverywhere(v.technician, s.ownStamp(r)); err != nil {
			return err
		}
	}
	s.setCookie(w, "")
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	return nil
}

// ownStamp is [server.stamp] for the gate.
func (s *server) ownStamp(r *http.Request) signin.Stamp { return signin.Stamp(s.stamp(r)) }
