// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
	"fillmark/testdata/peer"
)

// outcome is what a failure must be taken for.
type outcome int

const (
	accepted outcome = iota
	relayFault
	deferred // this message, for now
	refused  // this message, for good
	refusedAddress
)

func outcomeOf(t *testing.T, err error) outcome {
	t.Helper()
	if err == nil {
		return accepted
	}
	var e *notify.SendError
	require.ErrorAs(t, err, &e)
	switch {
	case e.RelayFault:
		assert.True(t, e.Temporary)
		return relayFault
	case e.Temporary:
		return deferred
	case e.Address:
		return refusedAddress
	}
	return refused
}

// Every way in which Postfix's smtp-sink can fail at every stage is taken for
// what it is: nobody's address is blamed for what the relay did.
func TestEveryFailureOfASink(t *testing.T) {
	t.Parallel()
	type kind struct{ name, flag string }
	now, later, drop, closing := kind{"5xx", "-f"}, kind{"4xx", "-r"}, kind{"drop", "-q"}, kind{"421 and drop", "-Q"}
	for stage, want := range map[string]map[kind]outcome{
		"CONNECT": {now: relayFault, later: relayFault, drop: relayFault, closing: relayFault},
		// A relay without EHLO is spoken to with HELO.
		"EHLO": {now: accepted, later: relayFault, drop: relayFault, closing: relayFault},
		"MAIL": {now: relayFault, later: relayFault, drop: relayFault, closing: relayFault},
		"RCPT": {now: refusedAddress, later: deferred, drop: deferred, closing: relayFault},
		"DATA": {now: refused, later: deferred, drop: deferred, closing: relayFault},
		".":    {now: refused, later: deferred, drop: deferred, closing: relayFault},
		// After acceptance nothing makes it undone.
		"QUIT": {now: accepted, later: accepted, drop: accepted, closing: accepted},
	} {
		for how, want := range want {
			t.Run(stage+" "+how.name, func(t *testing.T) {
				t.Parallel()
				dir := t.TempDir()
				relay := relayTo(t, notify.RelayOptions{Address: peer.StartSink(t, "-D", filepath.Join(dir, "dump"), how.flag, stage)})
				raw := composed(t)
				err := relay.Send(t.Context(), env, raw)
				relay.End()
				assert.Equal(t, want, outcomeOf(t, err), "%v", err)
				if want == accepted {
					dump, err := os.ReadFile(filepath.Join(dir, "dump"))
					require.NoError(t, err)
					assert.Contains(t, string(dump), strings.ReplaceAll(string(raw), "\r\n", "\n"))
				}
			})
		}
	}
}

func TestOtherTroubleOfASink(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name  string
		flags []string
		body  int // bytes to add to the message
		want  outcome
	}{
		{"no such user", []string{"-B", "550 5.1.1 no such user", "-f", "RCPT"}, 0, refusedAddress},
		{"policy", []string{"-B", "550 5.7.1 not from you", "-f", "RCPT"}, 0, deferred},
		{"storage at the end of data", []string{"-B", "552 5.2.2 over quota", "-f", "."}, 0, refused},
		{"no ESMTP", []string{"-e"}, 0, accepted},
		{"no enhanced codes", []string{"-E", "-f", "RCPT"}, 0, refusedAddress},
		{"slow", []string{"-w", "1"}, 0, accepted},
		{"too slow", []string{"-w", "30"}, 0, deferred},
		{"stops reading", []string{"-H", "60", "-T", "4096"}, 20 << 20, deferred},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			relay := relayTo(t, notify.RelayOptions{
				Address: peer.StartSink(t, append(tc.flags, "-D", filepath.Join(t.TempDir(), "dump"))...), ReplyTimeout: 4 * time.Second, WriteTimeout: 2 * time.Second, AcceptTimeout: 4 * time.Second,
			})
			raw := append(composed(t), strings.Repeat(strings.Repeat("x", 62)+"\r\n", tc.body/64)...)
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			err := relay.Send(ctx, env, raw)
			relay.End()
			assert.Equal(t, tc.want, outcomeOf(t, err), "%v", err)
			assert.NoError(t, ctx.Err())
		})
	}
}
