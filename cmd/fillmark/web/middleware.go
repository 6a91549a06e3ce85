// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"fillmark/loops/photos"
)

// maxBody bounds every request body but those with photos in them.
const maxBody = 1 << 20

// maxTable bounds an imported table, whose rows are bounded as well.
const maxTable = 8 << 20

func limitBodies(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, bodyBound(r))
		next.ServeHTTP(w, r)
	})
}

// bodyBound is the most that the body of a request may hold, in bytes.
func bodyBound(r *http.Request) int64 {
	switch {
	case r.Method != http.MethodPost:
	case strings.HasPrefix(r.URL.Path, "/api/v1/tables/"):
		return maxTable
	case r.URL.Path == photosPath:
		return photos.MaxBytes + 1 // one more, so that the photo itself is refused with its size
	case r.URL.Path == openingsPath, r.URL.Path == intakePath && isMultipart(r):
		return maxFormPhotos*photos.MaxBytes + maxBody
	case (strings.HasPrefix(r.URL.Path, ownerPath) || isLogPath(r.URL.Path)) && isMultipart(r):
		return photos.MaxBytes + maxBody
	case strings.HasPrefix(r.URL.Path, "/log/"):
		return photos.MaxBytes
	}
	return maxBody
}

// uploadTime is how long a request may take that brings much: a photo of some
// megabytes takes minutes over a phone's weak line. Common practice, no source.
const uploadTime = 15 * time.Minute

// takesItsTime gives a request that may bring much, of somebody who was let in, more
// time than the server gives everybody. Over the socket it has all the time there is.
func takesItsTime(w http.ResponseWriter, r *http.Request) {
	if bodyBound(r) <= maxBody || isLocal(r) {
		return
	}
	until, line := time.Now().Add(uploadTime), http.NewResponseController(w)
	_ = errors.Join(line.SetReadDeadline(until), line.SetWriteDeadline(until)) // where there is no line there is no limit either
}

// isLogPath tells the bench's page that takes in temperature logs.
func isLogPath(path string) bool {
	return strings.HasPrefix(path, "/loops/") && strings.HasSuffix(path, "/log")
}

// secured sets the headers every answer carries: nothing from elsewhere is
// loaded, nothing is framed, no address leaks, and where they are to, browsers
// keep to https. They are not where the workshop's own authority may be taken off
// a phone again, which would then be locked out.
func secured(https bool, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		// "no-referrer" would make browsers send "Origin: null" with our own
		// forms, which the cross-origin check then takes for another site.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if https {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// statusWriter remembers the status for the log.
type statusWriter struct {
	http.ResponseWriter
	status int
}

// Unwrap gives the writer to http.ResponseController.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *statusWriter) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

// logged writes a line a request: the pattern that matched, never the path,
// which may hold an owner's token, and never an address.
func (s *server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begin := time.Now()
		r = withVisit(r, s.TrustedProxy)
		sw := &statusWriter{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(sw, r)
		took := time.Since(begin)
		s.counted(r.Pattern, sw.status, took)
		s.Log.Info("request", "method", r.Method, "pattern", r.Pattern, "status", sw.status, "took", took.Round(time.Microsecond).String())
	})
}
