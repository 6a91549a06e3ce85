// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
	"fillmark/testdata/peer"
)

// secondJudge verifies both signatures of each mail, each against its own record.
const secondJudge = `
import sys, json, pathlib, dkim
def published(name, timeout=5):
    try:
        return open(sys.argv[1] + '/' + name.decode().split('.')[0], 'rb').read()
    except FileNotFoundError:
        return None
def holds(raw, n):
    try:
        return dkim.DKIM(raw, minkey=(2048, 256)[n]).verify(idx=n, dnsfunc=published)
    except dkim.DKIMException:
        return False
print(json.dumps([[holds(path.read_bytes(), n) for n in (0, 1)] for path in sorted(pathlib.Path(sys.argv[1]).glob('*.eml'))]))
`

// Letters bear both signatures once the second key is there, the RSA one first.
// Each holds for python3-dkim against its own record and fails once the letter was
// changed; our own verifier agrees.
func TestTheSecondSignatureHoldsOutside(t *testing.T) {
	t.Parallel()
	python := peer.Answering(t, "/usr/bin/python3", "-c", "import dkim, nacl")
	const domain, count = "tidewater.example", 24
	ring := notify.KeyRing{Folder: t.TempDir(), Selector: "fm"}
	_, err := ring.Signer(domain)
	require.ErrorIs(t, err, notify.ErrNoDKIMKey)
	require.NoError(t, ring.Second().Write())
	_, err = ring.Records(domain)
	require.ErrorIs(t, err, notify.ErrNoDKIMKey, "by itself it is none")
	require.NoError(t, ring.First().Write())
	require.ErrorIs(t, ring.Second().Write(), os.ErrExist)
	records, err := ring.Records(domain)
	require.NoError(t, err)
	require.Len(t, records, 2)
	next, err := ring.Next()
	require.NoError(t, err)
	assert.Equal(t, "fm2", next.Selector)

	signer, err := ring.Signer(domain)
	require.NoError(t, err)
	dir := t.TempDir()
	for _, r := range records {
		selector, _, _ := strings.Cut(r.Name, ".")
		require.NoError(t, os.WriteFile(filepath.Join(dir, selector), []byte(r.Value), 0o600))
	}
	random := rand.New(rand.NewPCG(9, 9)) // the same letters every time
	changed := func(n int) bool { return n%4 == 3 }
	for n := range count {
		raw, err := signer.Sign(hostile(t, random).Raw)
		require.NoError(t, err)
		require.Equal(t, 2, bytes.Count(raw, []byte("DKIM-Signature: ")))
		assert.Less(t, bytes.Index(raw, []byte("a=rsa-sha256")), bytes.Index(raw, []byte("a=ed25519-sha256")))
		if changed(n) {
			m := mutations[n/4%len(mutations)]
			raw = bytes.Replace(raw, []byte(m.old), []byte(m.new), 1)
		}
		assert.Equal(t, !changed(n), ring.Verify(raw, domain) == nil, "letter %d", n)
		require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%04d.eml", n)), raw, 0o600))
	}
	out, err := exec.Command(python, "-c", secondJudge, dir).Output()
	require.NoError(t, err)
	var got [][]bool
	require.NoError(t, json.Unmarshal(out, &got))
	require.Len(t, got, count)
	for n, g := range got {
		assert.Equal(t, []bool{!changed(n), !changed(n)}, g, "letter %d", n)
	}
}

// The record of a key is the one that RFC 8463, A.2 gives for it, and a signer
// takes each kind of key in its place alone.
func TestTheSecondKeysRecord(t *testing.T) {
	t.Parallel()
	seed, err := base64.StdEncoding.DecodeString("nWGxne/9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A=")
	require.NoError(t, err)
	key := ed25519.NewKeyFromSeed(seed)
	name, value, err := notify.DNSRecord("brisbane", "football.example.com", key.Public())
	require.NoError(t, err)
	assert.Equal(t, "brisbane._domainkey.football.example.com", name)
	assert.Equal(t, "v=DKIM1; k=ed25519; p=11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=", value)
	_, err = notify.NewSigner("tidewater.example", "fm", key)
	require.ErrorContains(t, err, "an RSA key")
	s, _ := newSigner(t)
	first, err := newKey()
	require.NoError(t, err)
	_, err = s.With("fm9", first)
	require.ErrorContains(t, err, "an Ed25519 key")
	_, err = s.With("no selector", key)
	require.Error(t, err)
	path := filepath.Join(t.TempDir(), "second.pem")
	require.NoError(t, notify.WriteKey(path, key))
	again, err := notify.ReadKey(path)
	require.NoError(t, err)
	assert.True(t, key.Equal(again))
}
