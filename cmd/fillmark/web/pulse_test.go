// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"errors"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func TestReadyWhileSweepsComeInTime(t *testing.T) {
	t.Parallel()
	pulse := web.NewPulse(10 * time.Minute)
	b := newBench(t, func(d *web.Deps) { d.Pulse = pulse })
	ready := func(after time.Duration) int {
		b.now = noon.Add(after)
		return b.get("/readyz").Code
	}
	assert.Equal(t, http.StatusServiceUnavailable, ready(0), "not swept yet")
	assert.Equal(t, "starting: the first sweep is not done yet\n", b.get("/readyz").Body.String())
	pulse.Swept(noon, 0, fmt.Errorf("sweep: store: %w", loops.ErrFull))
	assert.Equal(t, http.StatusServiceUnavailable, ready(0), "no sweep worked yet")
	assert.Contains(t, b.get("/metrics").Body.String(), "fillmark_alarm{part=\"sweep\"} 0\n", "the doctor judges the disk")
	require.ErrorIs(t, pulse.Late(noon), loops.ErrFull)
	pulse.Swept(noon, 0, errors.New("bounces: permission denied"))
	for _, path := range []string{"/readyz", "/", "/api/v1/due"} {
		body := b.get(path).Body.String()
		assert.Contains(t, body, "permission denied", path)
		assert.Contains(t, body, "log", path)
	}
	assert.Contains(t, b.get("/metrics").Body.String(), "fillmark_alarm{part=\"sweep\"} 1\n")
	pulse.Swept(noon, 1, nil)
	assert.Contains(t, b.get("/metrics").Body.String(), "fillmark_alarm{part=\"sweep\"} 0\n")
	assert.Equal(t, http.StatusOK, ready(0))
	assert.Equal(t, http.StatusOK, ready(30*time.Minute))
	assert.Equal(t, http.StatusServiceUnavailable, ready(31*time.Minute))
	assert.Equal(t, http.StatusOK, b.get("/healthz").Code, "it lives all the same")
}

// Mail that stands turns red wherever somebody looks.
func TestMailThatStandsIsRed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ana := b.ana().Owner
	for m, err := range b.store.Waiting() { // the letter of the hand-over
		require.NoError(t, err)
		require.NoError(t, b.store.MarkDelivered(b.now, 0, m.Key))
	}
	m := loops.Message{Key: "1/2026-11-24/reminder", Owner: ana.ID, Purpose: loops.PurposeReminder, From: "bench@test.example", To: "ana@garden.example",
		Subject: "the grey tower", Raw: []byte("x"), Created: b.now, NextAttempt: b.now, Status: loops.Queued, LastError: "smtp session: connection refused"}
	require.NoError(t, b.store.Commit(loops.Change{At: b.now, By: "test", Action: "remind", Messages: []loops.Message{m}}))
	assert.Equal(t, http.StatusOK, b.get("/readyz").Code)
	assert.NotContains(t, b.get("/").Body.String(), "No mail leaves")
	b.now = b.now.Add(3 * time.Hour)
	for _, path := range []string{"/readyz", "/", "/api/v1/due"} {
		body := b.get(path).Body.String()
		assert.Contains(t, body, "No mail has left since", path)
		assert.Contains(t, body, "connection refused", path)
	}
	assert.Equal(t, http.StatusServiceUnavailable, b.get("/readyz").Code)
	require.NoError(t, b.store.MarkDelivered(b.now, 0, m.Key))
	assert.Equal(t, http.StatusOK, b.get("/readyz").Code)
	assert.NotContains(t, b.get("/").Body.String(), "No mail leaves")
}

func TestNotReadyWithoutTheRegister(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Equal(t, http.StatusOK, b.get("/readyz").Code)
	require.NoError(t, b.store.Close())
	assert.Equal(t, http.StatusServiceUnavailable, b.get("/readyz").Code)
	assert.Equal(t, http.StatusOK, b.get("/healthz").Code)
}
