// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

// Whoever quotes an address or a link, the log does not repeat it.
func TestLogRepeatsNoAddressAndNoToken(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		err  error
		left string // what must still be there, to act on
	}{
		{"reply of a relay", errors.New("smtp rcpt: 421 4.3.2 <ana.fern@garden.example> try later"), "421 4.3.2 <(address)> try later"},
		{"return path", errors.New("mail from:<back+uq5rvftf34@tidewater.example>: refused"), "refused"},
		{"bad record", fmt.Errorf("sweep: %w", &loops.InvalidError{Field: "owner address", Value: "änna@gärten.example", Reason: "one mail address"}), "one mail address"},
		{"bad link", &loops.InvalidError{Field: "link stop", Value: "ftp://x.example/stop/AopzAAAA-B_c", Reason: "an address below base_url"}, "/stop/(token)"},
		{"a machine's link", errors.New("proxy: https://x.example/log/AopzAAAA-B_c/7Q2M4X: 502"), "/log/(token)/7Q2M4X"},
		{"the link of the first start", errors.New("open http://127.0.0.1:8377/start/AopzAAAA-B_c"), "/start/(token)"},
		{"a file", errors.New("open /var/log/fillmark/out: no such file"), "/var/log/fillmark/out"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var out bytes.Buffer
			log := NewLog(&out, slog.LevelInfo)
			log.Warn("said", "error", tt.err, "again_at", time.Unix(0, 0).UTC(), "text", tt.err.Error(), "count", 3)
			for _, hidden := range []string{"@", "ana.fern", "garden.example", "uq5rvftf34", "änna", "AopzAAAA"} {
				assert.NotContains(t, out.String(), hidden)
			}
			assert.Contains(t, out.String(), tt.left)
			assert.Contains(t, out.String(), "again_at=1970-01-01T00:00:00.000Z")
			assert.Contains(t, out.String(), "count=3")
		})
	}
}
