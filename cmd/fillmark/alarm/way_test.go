// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package alarm_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/alarm"
	"fillmark/loops"
	"fillmark/testdata/peer"
)

func aTelling() alarm.Telling {
	return alarm.Telling{At: noon, Workshop: "Brook & Bench", Red: []alarm.RedLine{
		{Alarm: loops.Alarm{Name: "mail", Reason: "No mail leaves.", Remedy: "Put it right.", Since: noon}, New: true},
	}}
}

// What a webhook gets passes the verification of the published library of
// Standard Webhooks, and one that was changed on its way does not.
func TestWebhookIsSigned(t *testing.T) {
	t.Parallel()
	const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	hears := listening(t)
	hook, err := alarm.Webhook(hears.URL, secret)
	require.NoError(t, err)
	require.NoError(t, hook.Send(t.Context(), aTelling()))
	require.Len(t, hears.bodies, 1)
	body := hears.bodies[0]
	check, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	require.NoError(t, check.VerifyIgnoringTimestamp([]byte(body), hears.heads[0]))
	require.Error(t, check.VerifyIgnoringTimestamp([]byte(strings.Replace(body, "No mail", "All mail", 1)), hears.heads[0]))
	assert.Equal(t, "application/json", hears.heads[0].Get("Content-Type"))
	d := read(t, body)
	assert.Equal(t, "alarm.state", d.Type)
	assert.Equal(t, noon, d.Timestamp)
	require.Len(t, d.Data.Red, 1)
	assert.True(t, d.Data.Red[0].New)
	assert.NotNil(t, d.Data.Over)

	later := aTelling()
	later.At = noon.Add(time.Hour)
	require.NoError(t, hook.Send(t.Context(), later))
	assert.Equal(t, hears.heads[0].Get("Webhook-Id"), hears.heads[1].Get("Webhook-Id"), "the same is known again")
	for _, wrong := range []string{"", "whsec_", "whsec_c2hvcnQ=", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_%%%"} {
		_, err := alarm.Webhook(hears.URL, wrong)
		require.ErrorContains(t, err, "whsec_", wrong)
	}
}

// A command gets its arguments as they are and the state on its standard input.
func TestCommandGetsTheState(t *testing.T) {
	t.Parallel()
	out := filepath.Join(t.TempDir(), "a $(touch b); c")
	require.NoError(t, alarm.Command([]string{"tee", out}).Send(t.Context(), aTelling()))
	got, err := os.ReadFile(out)
	require.NoError(t, err)
	assert.Equal(t, "mail", read(t, string(got)).Data.Red[0].Name)

	err = alarm.Command([]string{"sh", "-c", "echo the pager is off >&2; exit 3"}).Send(t.Context(), aTelling())
	require.EqualError(t, err, "exit status 3: the pager is off")
	require.Error(t, alarm.Command([]string{filepath.Join(t.TempDir(), "none")}).Send(t.Context(), aTelling()))
	require.NoError(t, alarm.Command([]string{"sh", "-c", `test -z "$FILLMARK_SECRET$NOTIFY_SOCKET" && env | grep -qvE '^(PATH|HOME|LANG|PWD|SHLVL|_)='; test $? = 1`}).Send(t.Context(), aTelling()))
}

// One that takes too long is ended with all that it started.
func TestCommandIsEndedWhole(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "pid")
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- alarm.Command([]string{"sh", "-c", "sleep 600 & echo $! >" + file + ".new; mv " + file + ".new " + file + "; wait"}).Send(ctx, aTelling())
	}()
	var pid string
	require.Eventually(t, func() bool {
		raw, err := os.ReadFile(file)
		pid = strings.TrimSpace(string(raw))
		return err == nil && pid != ""
	}, 20*time.Second, 5*time.Millisecond)
	cancel()
	require.Error(t, <-ended)
	peer.File(t, "/proc/self/stat") // what it started is looked for there
	assert.Eventually(t, func() bool {
		stat, err := os.ReadFile("/proc/" + pid + "/stat")
		return err != nil || strings.Contains(string(stat), ") Z ")
	}, 20*time.Second, 5*time.Millisecond, "what the command started goes on")
}
