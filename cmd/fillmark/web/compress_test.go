// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The standard library's reader is the judge of what ours wrote.
func TestTextIsCompressedForThoseWhoAcceptIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	style := regexp.MustCompile(`/static/[^"]+\.css`).FindString(b.get("/").Body.String())
	script := regexp.MustCompile(`/static/[^"]+\.js`).FindString(b.get("/").Body.String())
	photo := "/photos/" + b.photo(aPhoto(t, 40)) + ".jpg"
	for _, tt := range []struct {
		name, path, accepts string
		compressed          bool
	}{
		{"page", "/loops/" + tag + "/handover", "gzip", true},
		{"page for a browser", "/loops/" + tag + "/handover", "gzip, deflate, br, zstd", true},
		{"style", style, "gzip", true},
		{"script", script, "gzip", true},
		{"JSON", "/api/v1/loops/" + tag, "gzip", true},
		{"page for who does not", "/loops/" + tag + "/handover", "", false},
		{"page for who refuses", "/loops/" + tag + "/handover", "gzip;q=0", false},
		{"photo", photo, "gzip", false},
		{"table", "/api/v1/tables/owners", "gzip", false},
		{"export", "/api/v1/export", "gzip", false},
	} {
		plain := b.get(tt.path)
		require.Equal(t, http.StatusOK, plain.Code, tt.name)
		require.Empty(t, plain.Header().Get("Content-Encoding"), tt.name)
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+tt.path, nil)
		r.Header.Set("Accept-Encoding", tt.accepts)
		w := b.do(r)
		require.Equal(t, http.StatusOK, w.Code, tt.name)
		assert.Equal(t, plain.Header().Get("Content-Type"), w.Header().Get("Content-Type"), tt.name)
		if !tt.compressed {
			assert.Empty(t, w.Header().Get("Content-Encoding"), tt.name)
			assert.Equal(t, plain.Body.Bytes(), w.Body.Bytes(), tt.name)
			continue
		}
		assert.Equal(t, "gzip", w.Header().Get("Content-Encoding"), tt.name)
		assert.Contains(t, w.Header().Values("Vary"), "Accept-Encoding", tt.name)
		assert.Less(t, w.Body.Len(), plain.Body.Len()*2/3, tt.name)
		reader, err := gzip.NewReader(w.Body)
		require.NoError(t, err, tt.name)
		text, err := io.ReadAll(reader)
		require.NoError(t, err, tt.name)
		assert.Equal(t, plain.Body.String(), string(text), tt.name)
	}
}
