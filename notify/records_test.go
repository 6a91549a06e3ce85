// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"context"
	"errors"
	"net"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/notify"
)

func TestCheckRecords(t *testing.T) {
	t.Parallel()
	key := notify.Record{Kind: notify.RecordDKIM, Name: "s._domainkey.w.example", Value: "v=DKIM1; k=rsa; p=ABCD"}
	spf := notify.SPFRecord("w.example", "relay.provider.example")
	dmarc := notify.DMARCRecord("w.example", "bench@w.example")
	assert.Equal(t, "v=spf1 a:relay.provider.example ~all", spf.Value)
	assert.Equal(t, "v=spf1 mx ~all", notify.SPFRecord("w.example", "127.0.0.1").Value)
	absent := &net.DNSError{IsNotFound: true}
	for _, tc := range []struct {
		name      string
		record    notify.Record
		published []string
		err       error
		want      notify.RecordState
	}{
		{"the key in blanks", key, []string{"v=DKIM1;k=rsa; p=AB CD"}, nil, notify.RecordThere},
		{"another key", key, []string{"v=DKIM1; k=rsa; p=WXYZ"}, nil, notify.RecordDiffers},
		{"a key withdrawn", key, []string{"v=DKIM1; p="}, nil, notify.RecordDiffers},
		{"no name", key, nil, absent, notify.RecordMissing},
		{"no DNS", key, nil, errors.New("no route to host"), notify.RecordUnknown},
		{"another SPF", spf, []string{"unrelated", "v=spf1 include:provider.example -all"}, nil, notify.RecordThere},
		{"two SPF", spf, []string{"v=spf1 mx -all", "v=spf1 a -all"}, nil, notify.RecordDiffers},
		{"a stricter DMARC", dmarc, []string{"v=DMARC1; p=reject"}, nil, notify.RecordThere},
		{"a DMARC without policy", dmarc, []string{"v=DMARC1; rua=mailto:x@w.example"}, nil, notify.RecordDiffers},
		{"no DMARC", dmarc, []string{"something else"}, nil, notify.RecordMissing},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := notify.CheckRecords(t.Context(), func(_ context.Context, name string) ([]string, error) {
				assert.Equal(t, tc.record.Name, name)
				return tc.published, tc.err
			}, []notify.Record{tc.record})
			assert.Equal(t, tc.want, got[0].State)
		})
	}
}

func TestSPFNamesTheRelay(t *testing.T) {
	t.Parallel()
	for relay, want := range map[string]string{
		"relay.provider.example": "v=spf1 a:relay.provider.example ~all",
		"198.51.100.7":           "v=spf1 ip4:198.51.100.7 ~all",
		"2001:db8::7":            "v=spf1 ip6:2001:db8::7 ~all",
		"127.0.0.1":              "v=spf1 mx ~all",
		"192.168.1.4":            "v=spf1 mx ~all",
		"::1":                    "v=spf1 mx ~all",
		"localhost":              "v=spf1 mx ~all",
		"":                       "v=spf1 mx ~all",
	} {
		assert.Equal(t, want, notify.SPFRecord("tidewater.example", relay).Value, relay)
	}
}
