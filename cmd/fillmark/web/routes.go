// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import "net/http"

// routes lists every route there is.
func (s *server) routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, _ = w.Write([]byte("ok\n"))
	})

	mux.Handle("POST /api/v1/owners", s.api(s.apiAddOwner))
	mux.Handle("GET /api/v1/owners", s.api(s.apiOwners))
	mux.Handle("POST /api/v1/machines", s.api(s.apiAddMachine))
	mux.Handle("GET /api/v1/machines", s.api(s.apiMachines))
	mux.Handle("POST /api/v1/loops", s.api(s.apiAddLoop))
	mux.Handle("GET /api/v1/loops", s.api(s.apiLoops))
	mux.Handle("GET /api/v1/loops/{tag}", s.api(s.apiLoop))
	mux.Handle("POST /api/v1/loops/{tag}/entries", s.api(s.apiRecord))
	mux.Handle("POST /api/v1/topup", s.api(s.apiTopUp))
	mux.Handle("GET /api/v1/due", s.api(s.apiDue))
	mux.Handle("POST /api/v1/sweep", s.api(s.apiSweep))
	mux.Handle("GET /api/v1/outbox", s.api(s.apiOutbox))
	mux.Handle("GET /api/v1/outbox/message", s.api(s.apiMessage))
	s.mailRoutes(mux)
}
