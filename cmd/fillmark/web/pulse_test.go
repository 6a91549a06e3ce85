// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"errors"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
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
	pulse.Swept(noon, 0, errors.New("the disk is full"))
	assert.Equal(t, http.StatusServiceUnavailable, ready(0), "no sweep worked yet")
	pulse.Swept(noon, 1, nil)
	assert.Equal(t, http.StatusOK, ready(0))
	assert.Equal(t, http.StatusOK, ready(30*time.Minute))
	assert.Equal(t, http.StatusServiceUnavailable, ready(31*time.Minute))
	assert.Equal(t, http.StatusOK, b.get("/healthz").Code, "it lives all the same")
}

func TestNotReadyWithoutTheRegister(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Equal(t, http.StatusOK, b.get("/readyz").Code)
	require.NoError(t, b.store.Close())
	assert.Equal(t, http.StatusServiceUnavailable, b.get("/readyz").Code)
	assert.Equal(t, http.StatusOK, b.get("/healthz").Code)
}
