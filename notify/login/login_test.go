// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package login_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/emersion/go-sasl"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify/login"
)

// tokenServer is a token server as RFC 6749, sections 5 and 6 have it: a refresh
// token is good once and gives the next.
type tokenServer struct {
	*httptest.Server
	takes  string // the refresh token that it takes
	asked  int
	status int    // answers with this instead, where it is set
	before func() // runs before an answer
}

func newTokenServer(t *testing.T) *tokenServer {
	t.Helper()
	s := &tokenServer{takes: "refresh-0", before: func() {}}
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.asked++
		s.before()
		w.Header().Set("Content-Type", "application/json")
		answer := map[string]any{"error": "invalid_grant", "error_description": "secret refresh-0 \x1b[31m"}
		switch {
		case s.status != 0:
			w.WriteHeader(s.status)
		case r.FormValue("grant_type") != "refresh_token" || r.FormValue("refresh_token") != s.takes:
			w.WriteHeader(http.StatusBadRequest)
		default:
			s.takes = fmt.Sprintf("refresh-%d", s.asked)
			answer = map[string]any{"access_token": fmt.Sprintf("access-%d", s.asked), "token_type": "Bearer", "expires_in": 3600, "refresh_token": s.takes}
		}
		_ = json.NewEncoder(w).Encode(answer)
	}))
	t.Cleanup(s.Close)
	return s
}

func refreshFile(t *testing.T, token string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "refresh")
	require.NoError(t, os.WriteFile(path, []byte(token+"\n"), 0o600))
	return path
}

// A token is kept as long as it holds; the refresh token that comes with it is on
// the disk, for its owner alone, and the next start goes on with it.
func TestTokensAreRenewed(t *testing.T) {
	t.Parallel()
	s := newTokenServer(t)
	o := login.Options{TokenURL: s.URL, ClientID: "fillmark", RefreshFile: refreshFile(t, "refresh-0")}
	tokens, err := login.New(o)
	require.NoError(t, err)
	for range 3 {
		token, err := tokens.Token(t.Context())
		require.NoError(t, err)
		assert.Equal(t, "access-1", token)
	}
	assert.Equal(t, 1, s.asked)
	content, err := os.ReadFile(o.RefreshFile)
	require.NoError(t, err)
	assert.Equal(t, "refresh-1\n", string(content))
	info, err := os.Stat(o.RefreshFile)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	left, err := filepath.Glob(filepath.Join(filepath.Dir(o.RefreshFile), "*"))
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing lies beside it")

	tokens.Refused()
	token, err := tokens.Token(t.Context())
	require.NoError(t, err)
	assert.Equal(t, "access-2", token)
	again, err := login.New(o)
	require.NoError(t, err)
	token, err = again.Token(t.Context())
	require.NoError(t, err)
	assert.Equal(t, "access-3", token)
}

// What goes wrong is said without anything that the server wrote, and a refresh
// token that it did not replace stays.
func TestTokensRefused(t *testing.T) {
	t.Parallel()
	s := newTokenServer(t)
	o := login.Options{TokenURL: s.URL, ClientID: "fillmark", RefreshFile: refreshFile(t, "stolen")}
	tokens, err := login.New(o)
	require.NoError(t, err)
	_, err = tokens.Token(t.Context())
	var refused *login.RefusedError
	require.ErrorAs(t, err, &refused)
	assert.Equal(t, "invalid_grant", refused.Code)
	assert.Contains(t, err.Error(), "get a new one")
	assert.NotContains(t, err.Error(), "secret")
	s.status = http.StatusServiceUnavailable
	_, err = tokens.Token(t.Context())
	require.Error(t, err)
	content, err := os.ReadFile(o.RefreshFile)
	require.NoError(t, err)
	assert.Equal(t, "stolen\n", string(content))

	for field, change := range map[string]func(*login.Options){
		"token_url":          func(o *login.Options) { o.TokenURL = "http://tokens.provider.example/" },
		"client_id":          func(o *login.Options) { o.ClientID = "" },
		"refresh_token_file": func(o *login.Options) { o.RefreshFile = refreshFile(t, "two words") },
		"no such file":       func(o *login.Options) { o.RefreshFile += "-not" },
	} {
		bad := o
		change(&bad)
		_, err := login.New(bad)
		require.ErrorContains(t, err, field)
	}
}

// A refresh token that cannot be written is kept until it can, and no access token is
// used before; one that somebody puts into the file meanwhile goes before it.
func TestRefreshTokenThatCannotBeWritten(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		put string // into the file by a person; empty for nothing
		has string
	}{
		"room again":       {"", "refresh-1\n"},
		"another was put":  {"refresh-mine\n", "refresh-mine\n"},
		"the file is gone": {"gone", "refresh-1\n"},
	} {
		s := newTokenServer(t)
		folder := t.TempDir()
		o := login.Options{TokenURL: s.URL, ClientID: "fillmark", RefreshFile: filepath.Join(folder, "keys", "refresh")}
		require.NoError(t, os.Mkdir(filepath.Dir(o.RefreshFile), 0o700))
		require.NoError(t, os.WriteFile(o.RefreshFile, []byte("refresh-0\n"), 0o600))
		tokens, err := login.New(o)
		require.NoError(t, err)
		noRoom := s.before
		s.before = func() { // no folder to write in, for root too
			require.NoError(t, os.Rename(filepath.Dir(o.RefreshFile), filepath.Join(folder, "away")))
		}
		for range 3 {
			_, err = tokens.Token(t.Context())
			require.ErrorContains(t, err, "refresh token", name)
			s.before = noRoom
		}
		require.NoError(t, os.Rename(filepath.Join(folder, "away"), filepath.Dir(o.RefreshFile)))
		switch tt.put {
		case "":
		case "gone":
			require.NoError(t, os.Remove(o.RefreshFile))
		default:
			require.NoError(t, os.WriteFile(o.RefreshFile, []byte(tt.put), 0o600))
		}
		token, err := tokens.Token(t.Context())
		require.NoError(t, err, name)
		assert.Equal(t, "access-1", token, name)
		assert.Equal(t, 1, s.asked, name)
		content, err := os.ReadFile(o.RefreshFile)
		require.NoError(t, err)
		assert.Equal(t, tt.has, string(content), name)
	}
}

// What is said to the host, as RFC 7628, 3.1 and the older form have it.
func TestClientSaysTheToken(t *testing.T) {
	t.Parallel()
	for offered, want := range map[string]string{
		sasl.OAuthBearer: "n,a=bench@w.example,\x01host=mail.w.example\x01port=993\x01auth=Bearer abc\x01\x01",
		login.XOAuth2:    "user=bench@w.example\x01auth=Bearer abc\x01\x01",
	} {
		client, err := login.Client(func(m string) bool { return m == offered }, "bench@w.example", "abc", "mail.w.example", 993)
		require.NoError(t, err)
		mechanism, said, err := client.Start()
		require.NoError(t, err)
		assert.Equal(t, offered, mechanism)
		assert.Equal(t, want, string(said))
	}
	client, err := login.Client(func(string) bool { return true }, "u", "t", "h", 1)
	require.NoError(t, err)
	mechanism, _, err := client.Start()
	require.NoError(t, err)
	assert.Equal(t, sasl.OAuthBearer, mechanism)
	_, err = login.Client(func(string) bool { return false }, "u", "t", "h", 1)
	require.ErrorContains(t, err, "OAUTHBEARER")
}
