// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"fillmark/cmd/fillmark/signin"
	"fillmark/loops"
)

// errSignIn says that the request needs a technician who signed in, errLocal
// that it is only answered on the computer itself, errDirect that it did not
// come through the declared proxy.
var (
	errSignIn = errors.New("sign in first")
	errLocal  = errors.New("this is only possible on the computer that Fillmark runs on")
	errDirect = errors.New("the pages are reached through their proxy here")
	errProxy  = errors.New("this came through a proxy that the configuration does not declare; trusted_proxy names the one that may pass requests on")
	errSite   = errors.New("this was sent from a page of another site, and nothing was changed")
)

// gated lets through what needs no sign-in and who is signed in; everybody
// else is sent to sign in. What no route is for is closed.
func (s *server) gated(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, pattern := mux.Handler(r)
		err := s.admit(r, s.who[pattern])
		if err == nil {
			err = inUTF8(r)
		}
		if err != nil {
			s.turnAway(w, r, err)
			return
		}
		if s.who[pattern] != anybody { // else whoever has the link is let in later
			takesItsTime(w, r)
		}
		mux.ServeHTTP(w, r)
	})
}

// admit notes who acts, and returns why the request may not pass.
func (s *server) admit(r *http.Request, who access) error {
	if isLocal(r) {
		return nil
	}
	v := visitOf(r)
	if s.TrustedProxy.IsValid() && r.TLS == nil && v.direct && !v.here() {
		return errDirect // in the clear from elsewhere: past the proxy that has the certificate
	}
	if v.direct && forwarded(r) {
		return errProxy // who asks is not who seems to
	}
	if err := s.recognise(r, v); err != nil {
		return err
	}
	switch {
	case who == anybody, who == collector && v.here():
		return nil
	case v.technician != "":
	case v.here() && (s.WithoutSignIn || s.started(r)):
		closed, err := s.Gate.Closed()
		if err == nil && closed {
			err = errSignIn
		}
		if err != nil {
			return err
		}
	default:
		return errSignIn
	}
	if who == ownComputer {
		return errLocal
	}
	return nil
}

// inUTF8 refuses a body that says of itself that it is written in another
// character set: it would be read wrongly, and look well.
func inUTF8(r *http.Request) error {
	kind := r.Header.Get("Content-Type")
	_, params, err := mime.ParseMediaType(kind)
	if set, said := params["charset"]; err == nil && said && !slices.Contains([]string{"utf-8", "utf8", "us-ascii"}, strings.ToLower(set)) {
		return &loops.InvalidError{Field: "Content-Type", Value: kind, Reason: "text in UTF-8: charset=utf-8, or none"}
	}
	return nil
}

// recognise finds out who is signed in with the request's cookie. A cookie
// that means nothing any more is no error.
func (s *server) recognise(r *http.Request, v *visit) error {
	cookie, err := r.Cookie(s.cookieName())
	if err != nil {
		return nil // there is none
	}
	who, err := s.Gate.Who(cookie.Value, s.Now().UTC())
	if errors.Is(err, signin.ErrRefused) {
		return nil
	}
	if err == nil {
		v.technician, v.secret = who.Name, cookie.Value
	}
	return err
}

// turnAway answers somebody who may not pass: a page that can be opened later
// leads to the sign-in and back.
func (s *server) turnAway(w http.ResponseWriter, r *http.Request, err error) {
	_, isAPI := strings.CutPrefix(r.URL.Path, "/api/")
	switch {
	case isAPI:
		s.writeFailure(w, r, err)
	case errors.Is(err, errSignIn) && (r.Method == http.MethodGet || r.Method == http.MethodHead):
		target := "/sign-in"
		if to := r.URL.RequestURI(); to != "/" {
			target += "?to=" + url.QueryEscape(to)
		}
		http.Redirect(w, r, target, http.StatusSeeOther)
	default:
		s.fail(w, r, err)
	}
}

// forwarded tells that a request says of itself that a proxy passed it on.
func forwarded(r *http.Request) bool {
	for _, name := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip"} {
		if len(r.Header.Values(name)) > 0 {
			return true
		}
	}
	return false
}

// isLocal tells a request over the Unix socket or in process: whoever serves
// it knows who asks, see [WithActor].
func isLocal(r *http.Request) bool {
	_, ok := r.Context().Value(actorKey{}).(string)
	return ok
}

// cookieName has the prefix that keeps other hosts from setting it, where
// browsers allow that: with https.
func (s *server) cookieName() string {
	if s.Secure {
		return "__Host-fillmark"
	}
	return "fillmark"
}

// setCookie gives the browser the secret of a sign-in, or takes it away where
// it is empty.
func (s *server) setCookie(w http.ResponseWriter, secret string) {
	life := signin.SignInLife
	if secret == "" {
		life = -time.Second
	}
	s.keepCookie(w, s.cookieName(), secret, life)
}

// keepCookie gives the browser a cookie that no script reads and no other site
// sends; a life below zero takes it away.
func (s *server) keepCookie(w http.ResponseWriter, name, value string, life time.Duration) {
	http.SetCookie(w, &http.Cookie{
		Name: name, Value: value, Path: "/", MaxAge: int(life.Seconds()),
		HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteStrictMode,
	})
}

// ownPath returns the path where it leads to a page of ours, else "/": nobody
// is sent elsewhere by a link that somebody made up.
func ownPath(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n\t") {
		return "/"
	}
	return path
}
