// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import "net/http"

// benchRoutes lists the routes of the bench pages.
func (s *server) benchRoutes(mux *http.ServeMux) {
	mux.Handle("GET /topup", s.page(s.pageTopUp))
	mux.Handle("POST /topup", s.page(s.enterTopUp))
	mux.Handle("GET /intake", s.page(s.pageIntake))
	mux.Handle("POST /intake", s.page(s.takeIn))
	mux.Handle("GET /loops/{tag}/refill", s.page(s.pageRefill))
	mux.Handle("POST /loops/{tag}/refill", s.page(s.enterRefill))
	mux.Handle("GET /loops/{tag}/label", s.page(s.pageLabel))
	mux.Handle("GET /loops/{tag}/handover", s.page(s.pageHandover))
	mux.Handle("GET /shelf/{id}/label", s.page(s.pageContainerLabel))
	mux.Handle("GET /loops/{tag}/receipt", s.page(s.pageReceipt))
}

// benchScreens lists the bench pages for [screens].
func benchScreens() []screen {
	return []screen{
		{"topup", topupPage{}},
		{"intake", intakePage{}},
		{"refill", refillPage{}},
		{"label", labelPage{}},
		{"handover", handoverPage{}},
		{"receipt", receiptPage{}},
	}
}
