// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Whoever mistypes a filter is told so, on every route, instead of being given
// everything.
func TestUnknownParametersAreRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, path := range []string{"/api/v1/due?lte=2026-01-01", "/api/v1/owners?mial=true", "/api/v1/outbox?state=queued", "/api/v1/evidence?x=", "/api/v1/loops?tag=2&&sorted=due"} {
		w := b.get(path)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, path)
		assert.Contains(t, w.Body.String(), `"parameter"`, path)
	}
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/api/v1/outbox?status=qeued").Code)
	assert.Contains(t, b.get("/api/v1/owners?mial=true").Body.String(), "one of: mail, text, sort")
	assert.Contains(t, b.get("/api/v1/due?lte=2026-01-01").Body.String(), "takes no parameters")
}
