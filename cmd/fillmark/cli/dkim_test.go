// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/notify"
)

// dkim runs one dkim command against a DNS of its own and returns what it
// printed.
func dkim(t *testing.T, dir string, lookup notify.LookupTXT, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	a := &app{env: map[string]string{"HOME": dir}, out: &out, errOut: &out, now: testNow, lookupTXT: lookup}
	root := a.rootCommand()
	root.SetArgs(append([]string{"--store", filepath.Join(dir, "register.db"), "dkim"}, args...))
	err := root.ExecuteContext(t.Context())
	return out.String(), err
}

func TestDKIMCheckAndRotation(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	published := map[string][]string{}
	dns := func(_ context.Context, name string) ([]string, error) {
		if texts, ok := published[name]; ok {
			return texts, nil
		}
		return nil, &net.DNSError{Err: "no such host", Name: name, IsNotFound: true}
	}
	_, err := dkim(t, dir, dns, "new")
	require.NoError(t, err)
	out, err := dkim(t, dir, dns, "check")
	require.Error(t, err)
	assert.Contains(t, out, "0 of 3 records are there.")

	publish := func() {
		c := daemon.DefaultConfig(map[string]string{"HOME": dir})
		c.Store = filepath.Join(dir, "register.db")
		records, err := c.MailRecords()
		require.NoError(t, err)
		for _, r := range records {
			published[r.Name] = []string{r.Value}
		}
	}
	publish()
	out, err = dkim(t, dir, dns, "check")
	require.NoError(t, err, out)
	assert.Contains(t, out, "3 of 3 records are there.")

	// The next key does not sign before its record is published.
	_, err = dkim(t, dir, dns, "rotate")
	require.NoError(t, err)
	_, err = dkim(t, dir, dns, "rotate", "--now")
	require.ErrorContains(t, err, "nothing changed")
	publish()
	_, err = dkim(t, dir, dns, "rotate", "--now")
	require.NoError(t, err)
	out, err = dkim(t, dir, dns, "records")
	require.NoError(t, err)
	assert.Contains(t, out, "fillmark2._domainkey")

	noDNS := func(context.Context, string) ([]string, error) { return nil, errors.New("network is unreachable") }
	out, err = dkim(t, dir, noDNS, "check")
	require.Error(t, err)
	assert.Contains(t, out, "The DNS does not answer here")
}

// A key file that the configuration names is made where it says, and mail is
// never sent unsigned because it is missing.
func TestDKIMKeyFileByName(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := filepath.Join(dir, "own", "mail.pem")
	config := filepath.Join(dir, "fillmark.yaml")
	require.NoError(t, os.WriteFile(config, []byte("mail:\n  dkim_key_file: "+file+"\n"), 0o600))
	for _, before := range []string{"records", "check"} {
		_, err := dkim(t, dir, nil, before, "--config", config)
		require.ErrorContains(t, err, "fillmark dkim new makes one", before)
	}
	c := daemon.DefaultConfig(map[string]string{"HOME": dir})
	c.Mail.DKIMKeyFile = file
	err := c.CheckMailFiles()
	require.ErrorContains(t, err, "mail.dkim_key_file")
	out, err := dkim(t, dir, nil, "new", "--config", config)
	require.NoError(t, err)
	assert.Contains(t, out, "Key written to "+file)
	assert.FileExists(t, file)
	_, err = dkim(t, dir, nil, "new", "--config", config)
	require.ErrorContains(t, err, "is there already")
	_, err = dkim(t, dir, nil, "rotate", "--config", config)
	require.ErrorContains(t, err, "names one file")
}
