// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestOnlyItsOwnNamesAreAnswered(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for host, status := range map[string]int{
		"127.0.0.1": http.StatusOK, "127.0.0.1:8377": http.StatusOK, "127.3.2.1:80": http.StatusOK, "localhost:8377": http.StatusOK,
		"LOCALHOST.": http.StatusOK, "[::1]:8377": http.StatusOK, "[::1]": http.StatusOK, "pages.workshop.example": http.StatusOK,
		"Pages.Workshop.example:443": http.StatusOK,
		"rebind.example":             http.StatusMisdirectedRequest, "rebind.example:8377": http.StatusMisdirectedRequest,
		"192.0.2.1:8377": http.StatusMisdirectedRequest, "": http.StatusMisdirectedRequest,
		"127.0.0.1.rebind.example": http.StatusMisdirectedRequest, "localhost.rebind.example": http.StatusMisdirectedRequest,
	} {
		for _, path := range []string{"/", "/healthz", "/api/v1/due"} {
			r := httptest.NewRequest(http.MethodGet, path, nil)
			r.Host = host
			assert.Equal(t, status, b.do(r).Code, "%q %s", host, path)
		}
	}
}
