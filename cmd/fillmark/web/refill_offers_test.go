// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A figure that a step has put on record stands in the form of the act that
// asks for it too, until that act is on record.
func TestAFigureIsAskedOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	path := "/loops/" + string(file.Loop.Tag)
	post := func(act string, form url.Values) {
		form.Set("page", "refill")
		w := b.post(path+"/acts/"+act, form)
		require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	}
	value := func(field string) string {
		w := b.get(path + "/refill")
		require.Equal(t, http.StatusOK, w.Code)
		found := regexp.MustCompile(`<input id="` + field + `"[^>]* value="([^"]*)"`).FindStringSubmatch(w.Body.String())
		require.NotNil(t, found, field)
		return found[1]
	}
	assert.Empty(t, value("drain-out"))
	post("step", url.Values{"sheet-step": {"drain"}, "value:drain": {"128"}})
	assert.Equal(t, "128", value("drain-out"))
	post("drain", url.Values{"out": {"128"}, "left": {"10"}, "went": {"used glycol drum"}})
	assert.Empty(t, value("drain-out"), "it is on record")

	post("step", url.Values{"sheet-step": {"strength"}, "value:strength": {"34,5"}})
	post("step", url.Values{"sheet-step": {"leak-run"}, "value:leak-run": {"24"}})
	assert.Equal(t, "34.5", value("fill-mass"))
	assert.Equal(t, "24", value("leakcheck-hours"))
	assert.Contains(t, b.get(path+"/refill").Body.String(), `<option value="measured" selected>`, "what was read is not calculated")
}
