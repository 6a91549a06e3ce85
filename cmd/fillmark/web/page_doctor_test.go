// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"context"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/web"
)

// lateHouse has a backup that is late, and a line that follows from it.
type lateHouse struct{}

func (lateHouse) Examine(context.Context) doctor.Report { return lateHouse{}.Quick() }

func (lateHouse) Seen() doctor.Report { return lateHouse{}.Quick() }

func (lateHouse) Quick() doctor.Report {
	return doctor.Report{At: noon, Lines: []doctor.Line{
		{Check: "clock", State: doctor.Good, Says: "It is noon."},
		{Check: "backup", State: doctor.Red, Says: "The last backup is of <Monday>.", Do: "Run fillmark backup.", Stops: true},
		{Check: "second backup", State: doctor.Follows, Says: "Not there.", From: []string{"backup"}},
	}}
}

// A late backup is told on its page, on Due, by the API and by /readyz, and is
// gone from all of them once it was made.
func TestLateBackupIsTold(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(d *web.Deps) { d.House = lateHouse{} })
	page := b.get("/doctor").Body.String()
	assert.Contains(t, page, "1 to put right")
	assert.Contains(t, page, "The last backup is of &lt;Monday&gt;.")
	assert.Contains(t, page, "Run fillmark backup.")
	assert.Contains(t, page, "Follows from: backup.")
	assert.Contains(t, b.get("/").Body.String(), "The last backup is of &lt;Monday&gt;.")
	assert.Contains(t, b.get("/api/v1/due").Body.String(), `"check": "backup"`)
	ready := b.get("/readyz")
	assert.Equal(t, http.StatusServiceUnavailable, ready.Code)
	assert.Contains(t, ready.Body.String(), "backup: The last backup")

	b = newBench(t)
	assert.Contains(t, b.get("/doctor").Body.String(), "nothing needs putting right")
	assert.NotContains(t, b.get("/").Body.String(), "backup")
	assert.Equal(t, http.StatusOK, b.get("/readyz").Code)
}
