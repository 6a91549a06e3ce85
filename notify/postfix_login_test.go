// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"crypto/tls"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
	"fillmark/notify/login"
	"fillmark/testdata/peer"
)

// A relay that wants a certificate of its client gets it, and takes nothing from
// who has none.
func TestPostfixWantsAClientCertificate(t *testing.T) {
	t.Parallel()
	p := startPostfix(t, "127.0.0.1:9", "smtpd_tls_req_ccert = yes", "smtpd_tls_CAfile = DIR/etc/cert.pem")
	options := notify.RelayOptions{Address: p.address, HelloName: "fillmark.tidewater.example", Security: notify.StartTLS, TLS: &tls.Config{RootCAs: p.roots}, ReplyTimeout: 30 * time.Second}
	to := notify.Envelope{From: "bench@tidewater.example", To: "anna@garden.example"}
	bare := relayTo(t, options)
	err := bare.Send(t.Context(), to, composed(t))
	bare.End()
	var e *notify.SendError
	require.ErrorAs(t, err, &e)
	assert.True(t, e.RelayFault, "%v", err)

	pair, err := tls.LoadX509KeyPair(filepath.Join(p.dir, "etc/cert.pem"), filepath.Join(p.dir, "etc/key.pem"))
	require.NoError(t, err)
	options.TLS.Certificates = []tls.Certificate{pair}
	relay := relayTo(t, options)
	require.NoError(t, relay.Send(t.Context(), to, composed(t)))
	relay.End()
	p.delivered(t, 1)
}

// Postfix takes a login by a token that Dovecot checks; one that it does not take
// is the relay's matter and no owner's, and is asked for again.
func TestPostfixTakesTokens(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	for _, mechanisms := range []string{"plain, xoauth2", "plain, oauthbearer"} {
		p := startPostfix(t, "127.0.0.1:9", "smtpd_sasl_auth_enable = yes", "smtpd_sasl_type = dovecot", "smtpd_sasl_path = "+d.Auth,
			"smtpd_sasl_security_options = noanonymous", "smtpd_sasl_mechanism_filter = "+mechanisms, "smtpd_recipient_restrictions = permit_sasl_authenticated, reject")
		asked := 0
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			asked++
			claims := map[string]any{"sub": "bench", "iat": 978307200, "exp": 4070908800}
			if asked == 1 {
				claims["exp"] = 978307300 // over long ago
			}
			w.Header().Set("Content-Type", "application/json")
			_ = json.NewEncoder(w).Encode(map[string]any{"access_token": peer.JWT(t, claims), "token_type": "Bearer", "expires_in": 3600})
		}))
		defer server.Close()
		refresh := filepath.Join(t.TempDir(), "refresh")
		require.NoError(t, os.WriteFile(refresh, []byte("r"), 0o600))
		tokens, err := login.New(login.Options{TokenURL: server.URL, ClientID: "fillmark", RefreshFile: refresh})
		require.NoError(t, err)
		relay := relayTo(t, notify.RelayOptions{Address: p.address, HelloName: "fillmark.tidewater.example", Security: notify.StartTLS, TLS: &tls.Config{RootCAs: p.roots},
			ReplyTimeout: 30 * time.Second, Username: "bench", Tokens: tokens})
		to := notify.Envelope{From: "bench@tidewater.example", To: "anna@garden.example"}
		err = relay.Send(t.Context(), to, composed(t))
		var e *notify.SendError
		require.ErrorAs(t, err, &e)
		assert.True(t, e.RelayFault, "%v", err)
		require.NoError(t, relay.Send(t.Context(), to, composed(t)), mechanisms)
		relay.End()
		p.delivered(t, 1)
		assert.Equal(t, 2, asked)
	}
}
