// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/loops"
)

// metricsRoute is for this computer's own collector, or who is signed in.
const metricsRoute = "GET /metrics"

// openRoutes are those that need no sign-in. Owners' pages need their link.
func openRoutes() []string {
	return []string{
		"GET /healthz", "GET /readyz", "GET /static/{name}",
		"GET /start/{secret}", "GET /sign-in", "POST /sign-in", "GET /password/{secret}", "POST /password/{secret}",
		"GET /o/{token}", "POST /o/{token}", "GET /o/{token}/calendar.ics", "GET /stop/{token}", "POST /stop/{token}",
	}
}

// router takes the routes: the mux, or a test that lists them.
type router interface {
	Handle(pattern string, h http.Handler)
}

// routes lists every route there is.
func (s *server) routes(mux router) {
	mux.Handle("GET /healthz", s.page(s.healthy))
	mux.Handle("GET /readyz", s.page(s.ready))
	mux.Handle(metricsRoute, s.page(s.metrics))
	mux.Handle("GET /api/v1/openapi.json", s.page(s.openAPI))

	mux.Handle("GET /start/{secret}", s.page(s.pageStart))
	mux.Handle("GET /sign-in", s.page(s.pageSignIn))
	mux.Handle("POST /sign-in", s.page(s.signIn))
	mux.Handle("POST /sign-out", s.page(s.signOut))
	mux.Handle("POST /sign-out/everywhere", s.page(s.signOutEverywhere))
	mux.Handle("GET /password/{secret}", s.page(s.pagePassword))
	mux.Handle("POST /password/{secret}", s.page(s.setPassword))
	mux.Handle("GET /account", s.page(s.pageAccount))
	mux.Handle("POST /account/password", s.page(s.changePassword))

	mux.Handle("GET /api/v1/technicians", s.api(s.apiTechnicians))
	mux.Handle("POST /api/v1/first-link", s.api(s.local(s.apiFirstLink)))
	mux.Handle("POST /api/v1/technicians", s.api(s.apiAddTechnician))
	mux.Handle("POST /api/v1/technicians/{name}/password", s.api(s.apiSetPassword))
	mux.Handle("POST /api/v1/technicians/{name}/link", s.api(s.apiPasswordLink))
	mux.Handle("DELETE /api/v1/technicians/{name}", s.api(s.apiRemoveTechnician))

	mux.Handle("POST /api/v1/owners", s.api(s.apiAddOwner))
	mux.Handle("POST /api/v1/machines", s.api(s.apiAddMachine))
	mux.Handle("POST /api/v1/loops", s.api(s.apiAddLoop))
	mux.Handle("GET /api/v1/loops/{tag}", s.api(s.apiLoop))
	s.actRoutes(mux)
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
