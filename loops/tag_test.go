// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"crypto/rand"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
)

// The check symbols below follow the rule Crockford published with his base
// 32 (crockford.com, Base 32): value modulo 37, alphabet continued by *~$=U.
func TestTagCheckSymbol(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, tag, want string }{
		{"zero", "000000", "000000"},
		{"one", "000011", "000011"},
		{"small letters, hyphens", "00-00-11", "000011"},
		{"I and L are 1, O is 0", "OOOOIL", "000011"},
		{"36 would be U, 31 is Z", "0000ZZ", "0000ZZ"},
		{"32*1+4 = 36 cannot be printed, 32*1+5 = 37 gives 0", "000150", "000150"},
	} {
		got, err := loops.ParseTag(tt.tag)
		require.NoError(t, err, tt.name)
		assert.Equal(t, loops.Tag(tt.want), got, tt.name)
	}
}

func TestNewTagIsSixLettersOrDigitsAndParses(t *testing.T) {
	t.Parallel()
	for range 500 {
		tag, err := loops.NewTag(rand.Reader)
		require.NoError(t, err)
		assert.Regexp(t, `^[0-9A-HJKMNP-TV-Z]{6}$`, string(tag))
		parsed, err := loops.ParseTag(strings.ToLower(string(tag)))
		require.NoError(t, err)
		assert.Equal(t, tag, parsed)
	}
}

// A modulus of 37, prime and above 32, sees every single wrong symbol and
// every swap of neighbours.
func TestMistypedTagIsNoticed(t *testing.T) {
	t.Parallel()
	const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	rapid.Check(t, func(t *rapid.T) {
		tag, err := loops.NewTag(rand.Reader)
		require.NoError(t, err)
		typed := []byte(tag)
		if rapid.Bool().Draw(t, "swap") {
			i := rapid.IntRange(0, 3).Draw(t, "at")
			typed[i], typed[i+1] = typed[i+1], typed[i]
		} else {
			typed[rapid.IntRange(0, 5).Draw(t, "at")] = alphabet[rapid.IntRange(0, 31).Draw(t, "to")]
		}
		if string(typed) == string(tag) {
			return
		}
		_, err = loops.ParseTag(string(typed))
		assert.ErrorContains(t, err, "mistyped")
	})
}

func TestParseTagNamesTheMistake(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"7K3QX":    "this has 5",
		"7K3QXAAA": "this has 8",
		"7K3QXU":   "no U",
		"7K3Q!A":   "'!'",
		"":         "this has 0",
	} {
		_, err := loops.ParseTag(typed)
		assert.ErrorContains(t, err, want, typed)
	}
}

func FuzzParseTag(f *testing.F) {
	f.Add("7K3QXA")
	f.Fuzz(func(t *testing.T, typed string) {
		tag, err := loops.ParseTag(typed)
		if err == nil {
			again, err := loops.ParseTag(string(tag))
			require.NoError(t, err)
			assert.Equal(t, tag, again)
		}
	})
}
