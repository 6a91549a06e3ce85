// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"io"
	"net/http"
	"time"
)

// A browser in which somebody signed in before is known by a cookie that only
// this workshop can have written. It says no name and signs nobody in: its tries
// are counted by themselves, so that those of strangers never hold it back.

const (
	knownNonce = 16
	knownLife  = 365 * 24 * time.Hour
)

func (s *server) knownName() string { return s.cookieName() + "-known" }

func (s *server) knownMAC(nonce []byte) []byte {
	h := hmac.New(sha256.New, s.Known)
	h.Write(nonce)
	return h.Sum(nil)
}

// knownBrowser is the nonce of the request's browser; empty where nobody has
// signed in there before.
func (s *server) knownBrowser(r *http.Request) string {
	cookie, err := r.Cookie(s.knownName())
	if err != nil {
		return ""
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(cookie.Value)
	if err != nil || len(raw) != knownNonce+sha256.Size || !hmac.Equal(raw[knownNonce:], s.knownMAC(raw[:knownNonce])) {
		return ""
	}
	return string(raw[:knownNonce])
}

// getToKnow marks the browser of somebody who has just signed in.
func (s *server) getToKnow(w http.ResponseWriter, r *http.Request) error {
	if s.knownBrowser(r) != "" {
		return nil
	}
	nonce := make([]byte, knownNonce)
	if _, err := io.ReadFull(s.Random, nonce); err != nil {
		return err
	}
	s.keepCookie(w, s.knownName(), base64.RawURLEncoding.EncodeToString(append(nonce, s.knownMAC(nonce)...)), knownLife)
	return nil
}

// How long a stranger's try waits where a name is tried too often, and how many
// may wait at once. Common practice, no source.
const (
	signInDelay = 3 * time.Second
	mostWaiting = 32
)

// mayTry counts a try to sign in. Strangers are counted by where they come from
// and by whom they name: too many tries of a name make each of them wait, and
// lock nobody out. A known browser is counted by itself.
func (s *server) mayTry(r *http.Request, name string) error {
	if browser := s.knownBrowser(r); browser != "" {
		return s.throttles.signInKnown.take(browser, s.Now())
	}
	if err := s.throttles.signInFrom.take(visitOf(r).neighbourhood(), s.Now()); err != nil {
		return err
	}
	busy := s.throttles.signInAs.take(name, s.Now())
	if busy == nil {
		return nil
	}
	select {
	case s.waiting <- struct{}{}:
		defer func() { <-s.waiting }()
		return s.Wait(r.Context(), signInDelay)
	default:
		return busy
	}
}

// wait lets time pass, or returns why the request ended before.
func wait(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
