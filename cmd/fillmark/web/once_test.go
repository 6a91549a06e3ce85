// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

// A key that stands twice is refused, wherever and in whatever case it stands.
// The test looks inside: no route shows which of two values was kept.
func TestDecodeRefusesKeysTwice(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]string{
		`{"name":"Ana","name":"Bo"}`:                          "name",
		`{"name":"Ana","Name":"Bo"}`:                          "Name",
		`{"name":"Ana","consent":{"mail":true,"mail":false}}`: "mail",
		`{"name":"Ana","consent":{"mail":true}}`:              "",
		`{"name":"Ana","phone":"name"}`:                       "",
		`{"name":["`:                                          "body",
	} {
		r := httptest.NewRequest("POST", "/api/v1/owners", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		_, err := decode[loops.Owner](r)
		if want == "" {
			assert.NoError(t, err, body)
			continue
		}
		assert.ErrorContains(t, err, want+" ", body)
	}
}
