// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package signin_test

import (
	"encoding/base64"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/cmd/fillmark/signin"
)

func rawStd(b []byte) string { return base64.RawStdEncoding.EncodeToString(b) }

func TestPasswordLength(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, password string
		ok             bool
	}{
		{"fourteen", strings.Repeat("é", 14), false},
		{"fifteen", strings.Repeat("é", 15), true},
		{"two hundred", strings.Repeat("\U0001F4A7", 200), true},
		{"one more", strings.Repeat("x", 201), false},
		{"no text", strings.Repeat("\xff", 20), false},
	} {
		assert.Equal(t, tt.ok, signin.CheckPassword(tt.password) == nil, tt.name)
	}
}

func BenchmarkSignIn(b *testing.B) {
	g := signin.New(nil, signin.Cost{})
	for b.Loop() {
		_, _ = g.SignIn("", "a password that nobody has", false, noon) // nobody's name: the cost of one hash
	}
}
