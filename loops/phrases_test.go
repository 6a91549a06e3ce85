// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fillmark/loops"
)

func TestPhrases(t *testing.T) {
	t.Parallel()
	p := loops.NewPhrases([]string{"Ana Fern", "ana@garden.example", "", "+351 (91)", "Bo"})
	for _, tt := range []struct {
		text, erased string
		found        []int
	}{
		{"", "", nil},
		{"for Ana Fern's chiller", "for erased's chiller", []int{0}},
		{"ANA\n  fern, twice: Ana Fern", "erased, twice: erased", []int{0}},
		{"Joana Fern and Ana Ferns", "Joana Fern and Ana Ferns", nil},
		{"mail <ANA@garden.example>", "mail <erased>", []int{1}},
		{"call +351 (91) 5", "call erased 5", []int{3}},
		{"Bo, the Bos, and bo", "-, the Bos, and -", []int{4}},
		{"Éana fern is not Ana", "Éana fern is not Ana", nil},
	} {
		assert.Equal(t, tt.found, p.In(tt.text), tt.text)
		assert.Equal(t, tt.erased, p.Erase(tt.text), tt.text)
	}
	assert.Empty(t, loops.Phrases{}.In("anything"))
}

// What is erased is not found any more, and no text grows.
func TestPhrasesErase(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-zA-ZäÖß0-9@.]{3,9}`)
		phrase := strings.Join(rapid.SliceOfN(word, 1, 3).Draw(t, "phrase"), " ")
		p := loops.NewPhrases([]string{phrase})
		text := rapid.StringMatching(`[ ,a-z\n]{0,6}`).Draw(t, "before") + " " + strings.ReplaceAll(phrase, " ", rapid.SampledFrom([]string{" ", "\n", "  "}).Draw(t, "between")) +
			rapid.SampledFrom([]string{"", ".", "'s", "x"}).Draw(t, "behind")
		erased := p.Erase(text)
		assert.Empty(t, p.In(erased), "%q of %q", erased, text)
		assert.LessOrEqual(t, len(erased), len(text))
	})
}
