// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/loops"
	"fillmark/testdata/peer"
)

// smallDisk is a folder on a file system of its own, with a file to remove.
func smallDisk(t *testing.T, size string, ballast int) (folder, remove string) {
	t.Helper()
	folder = peer.Disk(t, size)
	remove = filepath.Join(folder, "ballast")
	require.NoError(t, os.WriteFile(remove, make([]byte, ballast), 0o600))
	return folder, remove
}

// A real disk runs full while forty owners are to be mailed: that is one line in
// the log, said wherever somebody looks, and over once there is room.
func TestAFullDiskIsOneErrorASweep(t *testing.T) {
	folder, ballast := smallDisk(t, "4m", 1_500_000)
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store, c.Mail.Technician = filepath.Join(folder, "register.db"), "bench@workshop.example"
	now := testNow()
	h, err := Open(c, func() time.Time { return now }, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	first := firstLoad(t, h, now)
	change := copies(t, first, now, 1, 40, map[loops.Tag]bool{first.Loop.Tag: true})
	for i := range change.Owners {
		change.Owners[i].Email, change.Owners[i].Consent = fmt.Sprintf("owner%d@garden.example", i), loops.Consent{Mail: true}
	}
	require.NoError(t, h.Store.Commit(change))
	now = now.AddDate(0, 0, 20)
	require.NoError(t, h.Store.NoteUptime(now))
	for err == nil {
		err = h.Store.Note(loops.AuditLine{At: now, By: "test", Action: "fill the disk", On: strings.Repeat("x", 2000)})
	}
	require.ErrorIs(t, err, loops.ErrFull)

	var said bytes.Buffer
	log := slog.New(slog.NewTextHandler(&said, nil))
	for range 2 {
		said.Reset()
		h.sweepAndDeliver(t.Context(), log, now)
		assert.Equal(t, 1, strings.Count(said.String(), "level=ERROR"), said.String())
		assert.Equal(t, 1, strings.Count(said.String(), "no space left for the register"), said.String())
	}
	red := h.Alarms.Red(now)
	require.Len(t, red, 1, "it is told once, by the doctor")
	assert.Equal(t, "house", red[0].Name)
	assert.Equal(t, 1, strings.Count(red[0].Reason, "no space left for the register"), red[0].Reason)
	h.serving.Store(true)
	report := h.Quick()
	assert.Equal(t, doctor.Red, report.Line("disk").State)
	assert.Equal(t, []string{"disk"}, report.Line("sweep").From)
	h.serving.Store(false)
	answer := httptest.NewRecorder()
	h.Handler.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "http://127.0.0.1:8377/readyz", nil))
	assert.Equal(t, http.StatusServiceUnavailable, answer.Code)
	assert.Equal(t, 1, strings.Count(answer.Body.String(), "no space left for the register"), answer.Body.String())

	require.NoError(t, os.Remove(ballast))
	said.Reset()
	h.sweepAndDeliver(t.Context(), log, now)
	assert.NotContains(t, said.String(), "level=ERROR")
	red = h.Alarms.Red(now)
	require.Len(t, red, 1, "the disk of the test is small by itself")
	assert.NotContains(t, red[0].Reason, "no space left")
	assert.Contains(t, red[0].Reason, "Too little room")
	mailed := 0
	for m, err := range h.Store.Messages(loops.Delivered) {
		require.NoError(t, err)
		if m.Purpose == loops.PurposeReminder {
			mailed++
		}
	}
	assert.Greater(t, mailed, 5, "all that was due has gone since there is room")
}
