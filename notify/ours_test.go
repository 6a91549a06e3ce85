// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
)

// A mail of ours holds by our own keys, however the folder that it came to keeps
// its lines; changed, unsigned, or signed with another key it does not.
func TestVerifyByOurOwnKeys(t *testing.T) {
	t.Parallel()
	const domain = "tidewater.example"
	ring := notify.KeyRing{Folder: t.TempDir(), Selector: "fm"}
	raw := composed(t)
	require.ErrorIs(t, ring.Verify(raw, domain), notify.ErrNoDKIMKey)
	require.NoError(t, ring.First().Write())
	signer, err := notify.LoadSigner(ring.First().File, domain, "fm")
	require.NoError(t, err)
	whole, err := signer.Sign(raw)
	require.NoError(t, err)
	other := notify.KeyRing{Folder: t.TempDir(), Selector: "fm"}
	require.NoError(t, other.First().Write())

	assert.NoError(t, ring.Verify(whole, domain))
	assert.NoError(t, ring.Verify([]byte("Delivered-To: x@"+domain+"\r\nReceived: by relay.example\r\n"+string(whole)), domain))
	assert.NoError(t, ring.Verify([]byte(strings.ReplaceAll(string(whole), "\r\n", "\n")), domain))

	assert.ErrorContains(t, ring.Verify(raw, domain), "there is none of tidewater.example")
	assert.ErrorContains(t, ring.Verify(whole, "another.example"), "there is none of another.example")
	assert.ErrorContains(t, other.Verify(whole, domain), "signature")
	assert.ErrorContains(t, ring.Verify([]byte(strings.Replace(string(whole), "Subject: ", "Subject: [list] ", 1)), domain), "signature")
	assert.ErrorContains(t, ring.Verify(append(whole, "-- \r\nscanned by relay.example\r\n"...), domain), "body hash")
	assert.ErrorContains(t, ring.Verify([]byte(strings.Replace(string(whole), " s=fm;", " s=fm9;", 1)), domain), "no key of ours")
}
