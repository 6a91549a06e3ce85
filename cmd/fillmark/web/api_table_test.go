// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
)

// A table of acts that the gate stops is refused as the act itself would be: 409,
// with the line, the reasons and the ways, and nothing of it is written.
func TestStoppedTableOfActs(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.filled())
	table := "tag,act,day,complaint,mail_consent\n" + tag + ",intake,2026-12-03,it drips,\n" + tag + ",handover,2026-12-03,,yes\n"
	for _, query := range []string{"", "?dry_run=true"} {
		before := b.bytesOnDisk()
		r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/api/v1/tables/acts"+query, strings.NewReader(table))
		r.Header.Set("Content-Type", "text/csv")
		w := b.do(r)
		require.Equal(t, http.StatusConflict, w.Code, w.Body)
		var failure web.Failure
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &failure))
		assert.Equal(t, web.FailStop, failure.Kind)
		assert.Equal(t, "line 3 (handover "+tag+")", failure.Message)
		assert.NotEmpty(t, failure.Ways)
		var rules []string
		for _, reason := range failure.Reasons {
			rules = append(rules, reason.Rule)
		}
		assert.Subset(t, rules, []string{"leak-check", "unproved"})
		b.unchanged(before)
	}
}
