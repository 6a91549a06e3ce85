// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestTriagePageRanksAndAsksNext(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	before := b.bytesOnDisk()
	for _, tt := range []struct {
		name, query string
		status      int
		says        []string
	}{
		{"blank", "", http.StatusOK, []string{">Rank the causes<", "not known", `name="fan-direction"`, `name="paste"`}},
		{"three figures", "ask=yes&build=sealed&die=92&room=22&power=100", http.StatusOK, []string{"Cannot tell yet", "<strong>Next:</strong>", "0.700 K/W from die to room"}},
		{"fans fight", "ask=yes&build=sealed&die=82&room=22&power=130&fan=fan-direction:against&fins=clean", http.StatusOK,
			[]string{"Two fans blow at each other", `<option value="fan-direction:against" selected>`}},
		{"a loop on record", "ask=yes&tag=" + string(file.Loop.Tag) + "&screws=loose&retighten=better", http.StatusOK, []string{"The mount is loose"}},
		{"words for a figure", "ask=yes&build=sealed&die=hot", http.StatusUnprocessableEntity, []string{`id="die-problem"`, "a number, such as 22, or empty"}},
		{"kelvin", "ask=yes&build=sealed&die=365&room=22&power=100", http.StatusUnprocessableEntity, []string{`id="die-problem"`, "-60 to 150 °C"}},
		{"a mistyped tag", "ask=yes&tag=7K3QXX", http.StatusUnprocessableEntity, []string{"the last one does not fit the first five"}},
		{"no such value", "ask=yes&build=open&fan=sideways", http.StatusUnprocessableEntity, []string{"one of running, stopped, slow or unknown"}},
	} {
		w := b.get("/triage?" + tt.query)
		assert.Equal(t, tt.status, w.Code, tt.name)
		for _, say := range tt.says {
			b.says(w, say, tt.name)
		}
	}
	b.unchanged(before)
}
