// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"slices"

	"fillmark/loops"
)

// routes lists every route there is.
func (s *server) routes() []route {
	return slices.Concat(s.ownRoutes(), s.ownersRoutes(), s.benchRoutes(), s.apiRoutes())
}

// ownRoutes are about the program itself and who is signed in.
func (s *server) ownRoutes() []route {
	return []route{
		page("GET /healthz", anybody, s.healthy),
		page("GET /readyz", anybody, s.ready),
		page("GET /metrics", collector, s.metrics),
		page("GET /static/{name...}", anybody, s.static),
		page("GET /manifest.webmanifest", anybody, s.manifest),
		page("GET /trust", anybody, s.pageTrust),
		page("GET /trust/authority.crt", anybody, s.trusted),
		page("GET /worker.js", anybody, s.worker),
		page("GET /not-connected", anybody, s.pageOffline),
		page("GET /start/{secret}", anybody, s.pageStart),
		page("GET /sign-in", anybody, s.pageSignIn),
		page("POST /sign-in", anybody, s.signIn),
		page("POST /sign-out", technicians, s.signOut),
		page("POST /sign-out/everywhere", technicians, s.signOutEverywhere),
		page("GET /password/{secret}", anybody, s.pagePassword),
		page("POST /password/{secret}", anybody, s.setPassword),
		page("GET /account", technicians, s.pageAccount),
		page("POST /account/password", technicians, s.changePassword),
		page("GET /", technicians, s.pageUnknown),
		page("GET /api/v1/openapi.json", technicians, s.openAPI),
		{pattern: "GET /api/", call: answers(func(*http.Request) (any, error) { return nil, loops.ErrNotFound })},
	}
}

// ownersRoutes are the pages that owners reach with the link in a mail.
func (s *server) ownersRoutes() []route {
	return []route{
		page("GET /o/{token}", anybody, s.pageOwner),
		page("POST /o/{token}", anybody, s.answerOwner),
		page("GET /o/{token}/calendar.ics", anybody, s.ownerCalendar),
		page("GET /o/{token}/log", anybody, s.pageOwnerLog),
		page("POST /o/{token}/log", anybody, s.takeOwnerLog),
		page("POST /log/{token}/{tag}", anybody, s.sentLog),
		page("GET /stop/{token}", anybody, s.pageStop),
		page("POST /stop/{token}", anybody, s.actStop),
	}
}

// benchRoutes are the pages of the bench.
func (s *server) benchRoutes() []route {
	return []route{
		page("GET /{$}", technicians, s.pageDue),
		page("POST /due/called", technicians, s.enterCalls),
		page("POST /due/undone", technicians, s.undoCalls),
		page("GET /loops/{tag}/done", technicians, s.pageDone),
		page("GET /day", technicians, s.pageDay),
		page("GET /intake", technicians, s.pageIntake),
		page("POST /intake", technicians, s.takeIn),
		page("GET /intake/units", technicians, s.pageUnits),
		page("POST /intake/units", technicians, s.takeInUnits),
		page("GET /labels", technicians, s.pageLabels),
		page("GET /loops", technicians, s.pageLoops),
		page("GET /register", technicians, s.pageRegister),
		page("GET /loops/{tag}", technicians, s.pageLoop),
		page("GET /loops/{tag}/card", technicians, s.pageCard),
		page("POST /loops/{tag}/acts/{act}", technicians, s.enterAct),
		page("GET /loops/{tag}/edit", technicians, s.pageEdit),
		page("POST /loops/{tag}/edit", technicians, s.edit),
		page("GET /loops/{tag}/refill", technicians, s.pageRefill),
		page("GET /loops/{tag}/log", technicians, s.pageLog),
		page("POST /loops/{tag}/log", technicians, s.takeLog),
		page("GET /loops/{tag}/label", technicians, s.pageLabel),
		page("GET /loops/{tag}/handover", technicians, s.pageHandover),
		page("GET /loops/{tag}/receipt", technicians, s.pageReceipt),
		page("GET /loops/{tag}/letter", technicians, s.pageLetter),
		page("GET /scan", technicians, s.pageScan),
		page("GET /topup", technicians, s.pageTopUp),
		page("POST /topup", technicians, s.enterTopUp),
		page("GET /triage", technicians, s.pageTriage),
		page("GET /openings", technicians, s.pageOpenings),
		page("POST /openings", technicians, s.enterOpening),
		page("GET /openings/of/{tag}", technicians, s.pageOpening),
		page("GET /openings/questions", technicians, s.pageQuestions),
		page("POST /openings/questions", technicians, s.enterWatch),
		page("GET /openings/vendor", technicians, s.pageVendor),
		page("GET /photos/{name}", technicians, s.photo),
		page("GET /more", technicians, s.pageMore),
		page("GET /owners", technicians, s.pageOwners),
		page("GET /owners/{id}", technicians, s.pageOwnerFile),
		page("POST /owners/{id}", technicians, s.editOwner),
		page("GET /shelf", technicians, s.pageShelf),
		page("POST /shelf", technicians, s.addContainer),
		page("GET /shelf/{id}", technicians, s.pageContainer),
		page("POST /shelf/{id}", technicians, s.editContainer),
		page("GET /shelf/{id}/label", technicians, s.pageContainerLabel),
		page("GET /recall", technicians, s.pageRecall),
		page("GET /outbox", technicians, s.pageOutbox),
		page("GET /outbox/message", technicians, s.pageMessage),
		page("POST /outbox/message", technicians, s.actOnMessage),
		page("GET /settings", technicians, s.pageSettings),
		page("GET /doctor", technicians, s.pageDoctor),
	}
}
