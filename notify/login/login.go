// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package login proves to a mail host who we are where it takes no password: with
// access tokens by OAuth 2.0 (RFC 6749), which it fetches and renews from a refresh
// token in a file, over SASL OAUTHBEARER (RFC 7628) or the older XOAUTH2.
package login

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-sasl"
	"golang.org/x/oauth2"

	"fillmark/disk"
	"fillmark/loops"
)

// Options are what the mail host's token server wants to know.
type Options struct {
	TokenURL     string // https, or http on this computer
	ClientID     string
	ClientSecret string // empty where the host gave none
	Scopes       []string
	// RefreshFile holds the refresh token alone. Where the server hands out another
	// one the file is replaced, all at once, and readable by its owner only.
	RefreshFile string
	// HTTP asks the server; nil takes one that waits 30 seconds at most.
	HTTP *http.Client
}

// Tokens hands out access tokens, each as long as it holds. It may be used by
// several goroutines.
type Tokens struct {
	o  Options
	mu sync.Mutex
	is *oauth2.Token // nil where none holds
	// handed is the refresh token that the server handed out last, for spent, which
	// it takes no more; empty once the file has it.
	handed, spent string
}

// New checks the options and that the file with the refresh token can be read.
func New(o Options) (*Tokens, error) {
	u, err := url.Parse(o.TokenURL)
	here := err == nil && (u.Hostname() == "127.0.0.1" || u.Hostname() == "localhost" || u.Hostname() == "::1")
	if err != nil || u.Host == "" || u.Scheme != "https" && (u.Scheme != "http" || !here) {
		return nil, &loops.InvalidError{Field: "token_url", Value: o.TokenURL, Reason: "the https address of your mail host's token server"}
	}
	if o.ClientID == "" {
		return nil, &loops.InvalidError{Field: "client_id", Value: "", Reason: "the id under which your mail host knows this program"}
	}
	t := &Tokens{o: o}
	if t.o.HTTP == nil {
		t.o.HTTP = &http.Client{Timeout: 30 * time.Second}
	}
	_, err = t.refresh()
	return t, err
}

// refresh reads the refresh token.
func (t *Tokens) refresh() (string, error) {
	content, err := os.ReadFile(t.o.RefreshFile)
	if err != nil {
		return "", fmt.Errorf("refresh token: %w", err)
	}
	token := strings.TrimSpace(string(content))
	if token == "" || strings.ContainsAny(token, " \t\r\n") {
		return "", &loops.InvalidError{Field: "refresh_token_file", Value: t.o.RefreshFile, Reason: "a file with the refresh token alone"}
	}
	return token, nil
}

// Token returns an access token that holds, a new one where there is none. A new
// refresh token is on the disk before the access token is used; one that cannot be
// written is an error, and not lost while the process runs.
func (t *Tokens) Token(ctx context.Context) (string, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.keep(); err != nil {
		return "", err
	}
	if t.is.Valid() {
		return t.is.AccessToken, nil
	}
	refresh, err := t.refresh()
	if err != nil {
		return "", err
	}
	config := oauth2.Config{
		ClientID: t.o.ClientID, ClientSecret: t.o.ClientSecret, Scopes: t.o.Scopes,
		Endpoint: oauth2.Endpoint{TokenURL: t.o.TokenURL},
	}
	ctx = context.WithValue(ctx, oauth2.HTTPClient, t.o.HTTP)
	is, err := config.TokenSource(ctx, &oauth2.Token{RefreshToken: refresh}).Token()
	if err != nil {
		return "", fmt.Errorf("token server: %w", plain(err))
	}
	t.is = is
	if is.RefreshToken != "" && is.RefreshToken != refresh {
		t.handed, t.spent = is.RefreshToken, refresh
	}
	if err := t.keep(); err != nil {
		return "", err
	}
	return is.AccessToken, nil
}

// keep puts the refresh token that was handed out into the file, unless somebody has
// put another one there since.
func (t *Tokens) keep() error {
	if t.handed == "" {
		return nil
	}
	if there, err := t.refresh(); err != nil || there == t.spent {
		if err := disk.Replace(t.o.RefreshFile, []byte(t.handed+"\n")); err != nil {
			return fmt.Errorf("refresh token: the mail host has handed out another one, which is lost with this process unless the file can be written: %w", err)
		}
	}
	t.handed, t.spent = "", ""
	return nil
}

// Refused says that the mail host did not take the last token: the next is a new
// one.
func (t *Tokens) Refused() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.is = nil
}

// RefusedError is what the token server answered.
type RefusedError struct {
	Status int    // of the answer
	Code   string // such as invalid_grant (RFC 6749, 5.2); may be empty
}

// Error says what was answered, and where somebody has to sign in again.
func (e *RefusedError) Error() string {
	if e.Code == "invalid_grant" {
		return "it does not take the refresh token any more (invalid_grant): get a new one from your mail host and put it into refresh_token_file"
	}
	return strings.TrimSpace(fmt.Sprintf("it answered %d %s", e.Status, e.Code))
}

// plain keeps what a server wrote, and any secret in it, out of logs.
func plain(err error) error {
	var refused *oauth2.RetrieveError
	if errors.As(err, &refused) && refused.Response != nil {
		code := refused.ErrorCode
		if len(code) > 60 || strings.ContainsFunc(code, func(r rune) bool { return r <= ' ' || r > '~' }) {
			code = ""
		}
		return &RefusedError{refused.Response.StatusCode, code}
	}
	return err
}

// Client is the side of SASL that shows the token to a host that offers the
// mechanisms, OAUTHBEARER before XOAUTH2.
func Client(offers func(mechanism string) bool, user, token, host string, port int) (sasl.Client, error) {
	switch {
	case offers(sasl.OAuthBearer):
		return sasl.NewOAuthBearerClient(&sasl.OAuthBearerOptions{Username: user, Token: token, Host: host, Port: port}), nil
	case offers(XOAuth2):
		return &xoauth2{user, token}, nil
	}
	return nil, errors.New("the mail host offers no login by OAuth 2.0 (OAUTHBEARER or XOAUTH2)")
}

// XOAuth2 is the name of the mechanism that was before RFC 7628.
const XOAuth2 = "XOAUTH2"

type xoauth2 struct{ user, token string }

// Start says all at once.
func (x *xoauth2) Start() (mech string, ir []byte, err error) {
	return XOAuth2, []byte("user=" + x.user + "\x01auth=Bearer " + x.token + "\x01\x01"), nil
}

// Next is only asked after a refusal, whose reason stands in the challenge; an
// empty answer ends it.
func (x *xoauth2) Next([]byte) ([]byte, error) { return []byte{}, nil }
