// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"crypto/subtle"
	"net/http"

	"fillmark/cmd/fillmark/signin"
)

func (s *server) startName() string { return s.cookieName() + "-start" }

// startsWith tells whether a text is the secret of the start link.
func (s *server) startsWith(text string) bool {
	return s.Start != "" && subtle.ConstantTimeCompare([]byte(text), []byte(s.Start)) == 1
}

// pageStart opens the bench of the demo to the browser that has its link.
func (s *server) pageStart(w http.ResponseWriter, r *http.Request) error {
	if !s.startsWith(r.PathValue("secret")) {
		return signin.ErrLink
	}
	s.keepCookie(w, s.startName(), s.Start, signin.SignInLife)
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// started tells that the request's browser opened the start link.
func (s *server) started(r *http.Request) bool {
	cookie, err := r.Cookie(s.startName())
	return err == nil && s.startsWith(cookie.Value)
}
