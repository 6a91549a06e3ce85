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
		"GET /sign-in", "POST /sign-in", "GET /password/{secret}", "POST /password/{secret}",
		"GET /o/{token}", "POST /o/{token}", "GET /stop/{token}", "POST /stop/{token}",
	}
}

// routes lists every route there is.
func (s *server) routes(handle func(pattern string, h http.Handler)) {
	handle("GET /healthz", s.page(s.healthy))
	handle("GET /readyz", s.page(s.ready))
	handle(metricsRoute, s.page(s.metrics))
	handle("GET /api/v1/openapi.json", s.page(s.openAPI))

	handle("GET /sign-in", s.page(s.pageSignIn))
	handle("POST /sign-in", s.page(s.signIn))
	handle("POST /sign-out", s.page(s.signOut))
	handle("POST /sign-out/everywhere", s.page(s.signOutEverywhere))
	handle("GET /password/{secret}", s.page(s.pagePassword))
	handle("POST /password/{secret}", s.page(s.setPassword))
	handle("GET /account", s.page(s.pageAccount))
	handle("POST /account/password", s.page(s.changePassword))

	handle("GET /api/v1/technicians", s.api(s.apiTechnicians))
	handle("POST /api/v1/technicians", s.api(s.apiAddTechnician))
	handle("POST /api/v1/technicians/{name}/password", s.api(s.apiSetPassword))
	handle("POST /api/v1/technicians/{name}/link", s.api(s.apiPasswordLink))
	handle("DELETE /api/v1/technicians/{name}", s.api(s.apiRemoveTechnician))

	handle("POST /api/v1/owners", s.api(s.apiAddOwner))
	handle("GET /api/v1/owners", s.api(s.apiOwners))
	handle("POST /api/v1/machines", s.api(s.apiAddMachine))
	handle("GET /api/v1/machines", s.api(s.apiMachines))
	handle("POST /api/v1/loops", s.api(s.apiAddLoop))
	handle("GET /api/v1/loops", s.api(s.apiLoops))
	handle("GET /api/v1/loops/{tag}", s.api(s.apiLoop))
	handle("POST /api/v1/loops/{tag}/entries", s.api(s.apiRecord))
	handle("POST /api/v1/topup", s.api(s.apiTopUp))
	handle("GET /api/v1/due", s.api(s.apiDue))
	handle("POST /api/v1/sweep", s.api(s.apiSweep))
	handle("GET /api/v1/outbox", s.api(s.apiOutbox))
	handle("GET /api/v1/outbox/message", s.api(s.apiMessage))

	handle("GET /{$}", s.page(s.pageDue))
	handle("GET /loops", s.page(s.pageLoops))
	handle("GET /loops/{tag}", s.page(s.pageLoop))
	handle("GET /o/{token}", s.page(s.pageOwner))
	handle("POST /o/{token}", s.page(s.answerOwner))
	handle("GET /stop/{token}", s.page(s.pageStop))
	handle("POST /stop/{token}", s.page(s.actStop))
	handle("GET /static/{name}", s.page(s.static))
	handle("GET /", s.page(s.pageUnknown))
	handle("GET /api/", s.api(func(*http.Request) (any, error) { return nil, loops.ErrNotFound }))
}
