// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

// A database that does not answer is told as such, and comes back to whoever asked
// over the socket as the error that it was.
func TestDatabaseAwayIsTold(t *testing.T) {
	t.Parallel()
	for _, away := range []error{loops.ErrAway, loops.ErrUnsettled} {
		status, failure := web.FailureOf(fmt.Errorf("store: commit: %w (10.1.0.7: refused)", away))
		assert.Equal(t, http.StatusServiceUnavailable, status)
		assert.Equal(t, away.Error(), failure.Message, "no address of the house's")
		require.ErrorIs(t, failure.Err(), away)
		assert.Equal(t, away == loops.ErrUnsettled, failure.Kind == web.FailUnsettled)
	}
}
