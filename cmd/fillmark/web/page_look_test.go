// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/inspection/triage"
)

// What is looked at on the job sheet is found there, stands in the history and
// is what the triage starts from, until the work has changed it.
func TestLooksFeedTheTriage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	path := "/loops/" + string(tag)
	w := b.post(path+"/acts/step", url.Values{"page": {"refill"}, "sheet-step": {"look-mount"}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, "one of: tight, loose", "what was found is asked for")
	w = b.post(path+"/acts/step", url.Values{"page": {"refill"}, "sheet-step": {"look-mount", "look-dust", "look-fan"},
		"found:look-mount": {"loose"}, "found:look-dust": {"dusty"}, "found:look-fan": {"out"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	b.says(b.get(path+"/refill"), ": loose", "the sheet")
	b.says(b.get(path), "found loose", "the history")
	assert.Equal(t, map[triage.Sign]triage.Value{"screws": "loose", "fins": "dusty", "fan-direction": "out"}, b.file(tag).Seen().Signs)
	b.says(b.get("/triage?tag="+string(tag)), "loose", "the triage page says why")
	w = b.post(path+"/acts/step", url.Values{"page": {"refill"}, "sheet-step": {"screws", "dust", "airflow"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	assert.Equal(t, map[triage.Sign]triage.Value{"screws": "tight", "fins": "clean"}, b.file(tag).Seen().Signs, "fans that were mounted again blow who knows where")
}
