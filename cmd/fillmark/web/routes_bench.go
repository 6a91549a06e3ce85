// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

// benchRoutes lists the routes of the bench pages.
func (s *server) benchRoutes(mux router) {
	mux.Handle("GET /o/{token}/calendar.ics", s.page(s.ownerCalendar))
	mux.Handle("GET /day", s.page(s.pageDay))
	mux.Handle("GET /topup", s.page(s.pageTopUp))
	mux.Handle("POST /topup", s.page(s.enterTopUp))
	mux.Handle("GET /triage", s.page(s.pageTriage))
	mux.Handle("GET /intake", s.page(s.pageIntake))
	mux.Handle("POST /intake", s.page(s.takeIn))
	mux.Handle("POST /loops/{tag}/acts/{act}", s.page(s.enterAct))
	mux.Handle("GET /loops/{tag}/refill", s.page(s.pageRefill))
	mux.Handle("GET /more", s.page(s.pageMore))
	mux.Handle("GET /owners", s.page(s.pageOwners))
	mux.Handle("GET /owners/{id}", s.page(s.pageOwnerFile))
	mux.Handle("POST /owners/{id}", s.page(s.editOwner))
	mux.Handle("GET /outbox", s.page(s.pageOutbox))
	mux.Handle("GET /outbox/message", s.page(s.pageMessage))
	mux.Handle("POST /outbox/message", s.page(s.actOnMessage))
	mux.Handle("GET /settings", s.page(s.pageSettings))
	mux.Handle("GET /loops/{tag}/letter", s.page(s.pageLetter))
	mux.Handle("GET /loops/{tag}/edit", s.page(s.pageEdit))
	mux.Handle("POST /loops/{tag}/edit", s.page(s.edit))
	mux.Handle("GET /loops/{tag}/label", s.page(s.pageLabel))
	mux.Handle("GET /loops/{tag}/handover", s.page(s.pageHandover))
	mux.Handle("GET /shelf", s.page(s.pageShelf))
	mux.Handle("POST /shelf", s.page(s.addContainer))
	mux.Handle("GET /shelf/{id}", s.page(s.pageContainer))
	mux.Handle("GET /recall", s.page(s.pageRecall))
	mux.Handle("GET /shelf/{id}/label", s.page(s.pageContainerLabel))
	mux.Handle("GET /loops/{tag}/receipt", s.page(s.pageReceipt))
}

// benchScreens lists the bench pages for [screens].
func benchScreens() []screen {
	return []screen{
		{"topup", topupPage{}},
		{"triage", triagePage{}},
		{"intake", intakePage{}},
		{"refill", refillPage{}},
		{"more", morePage{}},
		{"owners", ownersPage{}},
		{"ownerfile", ownerFilePage{}},
		{"letter", letterPage{}},
		{"outbox", outboxPage{}},
		{"message", messagePage{}},
		{"settings", settingsPage{}},
		{"shelf", shelfPage{}},
		{"container", containerPage{}},
		{"recall", recallPage{}},
		{"edit", editPage{}},
		{"label", labelPage{}},
		{"handover", handoverPage{}},
		{"receipt", receiptPage{}},
	}
}
