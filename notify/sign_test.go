// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/emersion/go-msgauth/dkim"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
	"fillmark/testdata/peer"
)

// newKey is made once: 2048 bits take a while.
var newKey = sync.OnceValues(notify.GenerateKey)

func newSigner(t testing.TB) (*notify.Signer, string) {
	t.Helper()
	key, err := newKey()
	require.NoError(t, err)
	s, err := notify.NewSigner("tidewater.example", "fm2026", key)
	require.NoError(t, err)
	_, record, err := notify.DNSRecord("fm2026", "tidewater.example", &key.PublicKey)
	require.NoError(t, err)
	return s, record
}

func composed(t testing.TB) []byte {
	t.Helper()
	l, err := notify.ComposeReminder(several())
	require.NoError(t, err)
	return l.Raw
}

// mutations are changes on the way that a signature must notice.
var mutations = []struct{ name, old, new string }{
	{"subject", "Subject: ", "Subject: x"},
	{"second subject", "Subject: ", "Subject: Pay here\r\nSubject: "},
	{"second unsubscribe", "List-Unsubscribe: ", "List-Unsubscribe: <https://evil.example>\r\nList-Unsubscribe: "},
	{"reply to", "MIME-Version: ", "Reply-To: eve@evil.example\r\nMIME-Version: "},
	{"body", "Add nothing", "Add anything"},
}

func verifyInGo(t testing.TB, record string, mail []byte) bool {
	t.Helper()
	got, err := dkim.VerifyWithOptions(bytes.NewReader(mail), &dkim.VerifyOptions{LookupTXT: func(name string) ([]string, error) {
		assert.Equal(t, "fm2026._domainkey.tidewater.example", name)
		return []string{record}, nil
	}})
	require.NoError(t, err)
	require.Len(t, got, 1)
	return got[0].Err == nil
}

func TestSignatureVerifies(t *testing.T) {
	t.Parallel()
	s, record := newSigner(t)
	raw := composed(t)
	signed, err := s.Sign(raw)
	require.NoError(t, err)
	assert.True(t, bytes.HasSuffix(signed, raw), "the letter itself is untouched")
	assert.True(t, verifyInGo(t, record, signed))
	for _, m := range mutations {
		changed := bytes.Replace(signed, []byte(m.old), []byte(m.new), 1)
		require.NotEqual(t, signed, changed, m.name)
		assert.False(t, verifyInGo(t, record, changed), m.name)
	}
}

// pythonVerify reads the public key, then mails, and prints one JSON list of
// verdicts.
const pythonVerify = `
import sys, json, dkim
record = open(sys.argv[1], 'rb').read()
out = []
for path in sys.argv[2:]:
    try:
        out.append(bool(dkim.DKIM(open(path, 'rb').read()).verify(dnsfunc=lambda name, timeout=5: record)))
    except Exception:
        out.append(False)
print(json.dumps(out))
`

func TestSignatureVerifiesInPython(t *testing.T) {
	t.Parallel()
	python := peer.Answering(t, "/usr/bin/python3", "-c", "import dkim")
	s, record := newSigner(t)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "record"), []byte(record), 0o600))
	args := []string{"-c", pythonVerify, filepath.Join(dir, "record")}
	var want []bool
	put := func(mail []byte, ok bool) {
		path := filepath.Join(dir, fmt.Sprintf("%d.eml", len(want)))
		require.NoError(t, os.WriteFile(path, mail, 0o600))
		args, want = append(args, path), append(want, ok)
	}
	for i, name := range []string{"Anna", "Żaneta Müller", strings.Repeat("é", 90), `"; <x> \`, "  ", "=?utf-8?q?x?="} {
		in := several()
		in.Owner.Name = name + "."
		in.Items[0].Reason = strings.Repeat([]string{".", ". ", "—"}[i%3], 80) + "x   "
		l, err := notify.ComposeReminder(in)
		require.NoError(t, err, name)
		signed, err := s.Sign(l.Raw)
		require.NoError(t, err)
		put(signed, true)
	}
	signed, err := s.Sign(composed(t))
	require.NoError(t, err)
	for _, m := range mutations {
		put(bytes.Replace(signed, []byte(m.old), []byte(m.new), 1), false)
	}
	out, err := exec.Command(python, args...).CombinedOutput()
	require.NoError(t, err, string(out))
	var got []bool
	require.NoError(t, json.Unmarshal(out, &got), string(out))
	assert.Equal(t, want, got)
}

const pythonRead = `
import sys, json, email, email.policy
m = email.message_from_bytes(open(sys.argv[1], 'rb').read(), policy=email.policy.default)
parts = {p.get_content_type(): p.get_content().replace('\r\n', '\n') if p.get_content_maintype() == 'text' else '' for p in m.iter_parts()}
defects = [str(d) for p in m.walk() for d in p.defects] + [str(d) for v in m.values() for d in v.defects]
print(json.dumps({'subject': m['subject'], 'to': [a.display_name for a in m['to'].addresses], 'parts': parts, 'defects': defects}))
`

func TestPythonSeesTheSameText(t *testing.T) {
	t.Parallel()
	python := peer.Answering(t, "/usr/bin/python3", "-c", "import email")
	in := several()
	in.Calendar = []byte(event)
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "mail.eml")
	require.NoError(t, os.WriteFile(path, l.Raw, 0o600))
	out, err := exec.Command(python, "-c", pythonRead, path).CombinedOutput()
	require.NoError(t, err, string(out))
	var got struct {
		Subject string
		To      []string
		Parts   map[string]string
		Defects []string
	}
	require.NoError(t, json.Unmarshal(out, &got), string(out))
	_, parts := read(t, l.Raw)
	require.Len(t, parts, 3)
	for kind, text := range parts {
		// Python's part reader keeps or drops the last line end by itself.
		assert.Equal(t, strings.TrimRight(text, "\n"), strings.TrimRight(got.Parts[kind], "\n"), kind)
	}
	assert.Equal(t, l.Subject, got.Subject)
	assert.Equal(t, []string{in.Owner.Name}, got.To)
	assert.Empty(t, got.Defects)
}

func TestSignRefusesWhatTheWireWouldChange(t *testing.T) {
	t.Parallel()
	s, _ := newSigner(t)
	for name, raw := range map[string]string{
		"bare CR":     "From: a@b.example\r\n\r\nx\ry\r\n",
		"bare LF":     "From: a@b.example\r\n\r\nx\ny\r\n",
		"no line end": "From: a@b.example\r\n\r\nx",
		"NUL":         "From: a@b.example\r\n\r\nx\x00\r\n",
		"doubled CR":  "From: a@b.example\r\n\r\nx\r\r\n",
		"empty":       "",
	} {
		_, err := s.Sign([]byte(raw))
		assert.Error(t, err, name)
	}
}

func TestKeyFiles(t *testing.T) {
	t.Parallel()
	key, err := newKey()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "dkim.pem")
	require.NoError(t, notify.WriteKey(path, key))
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	require.ErrorIs(t, notify.WriteKey(path, key), os.ErrExist)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)

	again, err := notify.ReadKey(path)
	require.NoError(t, err)
	assert.True(t, key.Equal(again))
	_, err = notify.LoadSigner(path, "tidewater.example", "fm2026")
	require.NoError(t, err)

	require.NoError(t, os.Chmod(path, 0o644))
	_, err = notify.ReadKey(path)
	assert.ErrorContains(t, err, "mode 0600")
	bad := filepath.Join(t.TempDir(), "bad.pem")
	require.NoError(t, os.WriteFile(bad, before[:len(before)/2], 0o600))
	_, err = notify.ReadKey(bad)
	require.Error(t, err)
	assert.NotContains(t, err.Error(), string(before[40:60]))
}

func TestDNSRecordInZoneForm(t *testing.T) {
	t.Parallel()
	key, err := newKey()
	require.NoError(t, err)
	name, value, err := notify.DNSRecord("fm2026", "tidewater.example", &key.PublicKey)
	require.NoError(t, err)
	assert.Equal(t, "fm2026._domainkey.tidewater.example", name)
	zone := notify.ZoneRecord(name, value)
	var joined strings.Builder
	for line := range strings.SplitSeq(zone, "\n") {
		if text, ok := strings.CutPrefix(strings.TrimSpace(line), `"`); ok {
			text = strings.TrimSuffix(text, `"`)
			assert.LessOrEqual(t, len(text), 255)
			joined.WriteString(text)
		}
	}
	assert.Equal(t, value, joined.String())
	for _, bad := range []struct{ selector, domain string }{{"", "a.example"}, {"a b", "a.example"}, {"s", "bad domain"}, {"s", "Upper.Example"}, {"s", "bare"}} {
		_, _, err := notify.DNSRecord(bad.selector, bad.domain, &key.PublicKey)
		assert.Error(t, err, bad)
	}
}

func BenchmarkSign(b *testing.B) {
	s, _ := newSigner(b)
	raw := composed(b)
	for b.Loop() {
		if _, err := s.Sign(raw); err != nil {
			b.Fatal(err)
		}
	}
}
