// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/loops"
)

// routes lists every route there is.
func (s *server) routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, _ = w.Write([]byte("ok\n"))
	})

	mux.Handle("POST /api/v1/owners", s.api(s.apiAddOwner))
	mux.Handle("POST /api/v1/machines", s.api(s.apiAddMachine))
	mux.Handle("POST /api/v1/loops", s.api(s.apiAddLoop))
	mux.Handle("GET /api/v1/loops/{tag}", s.api(s.apiLoop))
	mux.Handle("POST /api/v1/loops/{tag}/entries", s.api(s.apiRecord))
	s.registerRoutes(mux.Handle)
	mux.Handle("POST /api/v1/topup", s.api(s.apiTopUp))
	mux.Handle("GET /api/v1/due", s.api(s.apiDue))
	mux.Handle("GET /api/v1/calendar", s.api(s.apiCalendar))
	mux.Handle("POST /api/v1/sweep", s.api(s.apiSweep))
	mux.Handle("GET /api/v1/outbox", s.api(s.apiOutbox))
	mux.Handle("GET /api/v1/outbox/message", s.api(s.apiMessage))
	s.mailRoutes(mux)

	mux.Handle("GET /{$}", s.page(s.pageDue))
	mux.Handle("GET /loops", s.page(s.pageLoops))
	mux.Handle("GET /loops/{tag}", s.page(s.pageLoop))
	s.benchRoutes(mux)
	mux.Handle("GET /o/{token}", s.page(s.pageOwner))
	mux.Handle("POST /o/{token}", s.page(s.answerOwner))
	mux.Handle("GET /stop/{token}", s.page(s.pageStop))
	mux.Handle("POST /stop/{token}", s.page(s.actStop))
	s.openingRoutes(mux)
	mux.Handle("GET /static/{name}", s.page(s.static))
	mux.Handle("GET /", s.page(s.pageUnknown))
	mux.Handle("GET /api/", s.api(func(*http.Request) (any, error) { return nil, loops.ErrNotFound }))
}
