// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
)

// Whatever id is printed, of a rule, a pair or a source, rules --source answers
// for it: with the ledger's line, or with the rule and what it stands on.
func TestSourceAnswersForEveryID(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	for _, s := range chemistry.Sources() {
		assert.True(t, chemistry.IsSource(s.ID), s.ID)
	}
	ids := []string{"crc-102", "practice", "all"}
	for _, r := range slices.Concat(chemistry.Rules(), acts.Rules()) {
		ids = append(ids, r.ID)
	}
	pairs := 0
	for i, a := range chemistry.Kinds() {
		for _, b := range chemistry.Kinds()[i:] {
			for _, x := range chemistry.Families(a) {
				for _, y := range chemistry.Families(b) {
					if !chemistry.Meet(a, b) || x == y {
						continue
					}
					pairs++
					r := chemistry.Compatibility(x, y)
					found := rulesOf(r.ID)
					assert.True(t, len(found) > 0 && found[0].Source != "", r.ID)
					if pairs%100 == 0 {
						ids = append(ids, r.ID)
					}
				}
			}
		}
	}
	assert.Greater(t, pairs, 907)
	for _, id := range ids {
		assert.Contains(t, must(t, folder, "rules", "--source", id), "▐ ", id)
	}
	code, _, errOut := runHere(t, folder, "rules", "--source", "nobody-1999")
	assert.Equal(t, exitNotFound, code)
	assert.Contains(t, errOut, "nobody-1999")
}

// A command of chemistry that answers with everything it asks for answers no
// more, or not with a go, once any one of its inputs is left out.
func TestNoBlankPrintsAGo(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	for _, full := range []string{
		"mix --fluid pg --wall -20C --make 600ml --concentrate 95%",
		"mix --fluid pg --mass 40% --make 600ml --premix 50%",
		"mix --fluid pg --wall -16C --make 600ml --label 50%:-33.4C",
		"topup --fluid pg --mass 40% --holds 500ml --gap 20ml --with premix:40%:oat --inhibitor oat --metal copper --wall -10C",
		"topup --fluid water --inhibitor oat --metal copper --holds 500ml --gap 20ml --with water --wall 10C",
		"reading --fluid pg --brix 28",
		"reading --fluid eg --density 1.05kg/l",
		"props --fluid eg --mass 40%",
		"bench identify --brix 28 --density 1.060kg/l",
		"mix --fluid pg --premix 30% --premix-available 800ml --mass 40% --concentrate 95%",
		"bench rinse --left 15ml --holds 90ml",
		"bench dose --holds 480ml --per-litre 20g",
		"bench wall --running 18C",
		"bench wall --chiller --set-point 5C --evaporator-margin 8K",
		"bench clean --agent citric --metal stainless --material none",
		"bench water --fluid pg --hardness 5ppm --chloride 3mg/l --sulfate 3mg/l --calcium 1mg/l --magnesium 1mg/l",
		"bench loss --fluid pg --mass 25% --tubing epdm --tube-length 0.7m --bore 7mm --outer 12mm",
		"bench balance --fluid pg --filled-mass 35% --mass 37.9%±0.4% --held 1kg --missing 160g",
	} {
		words := strings.Fields(full)
		name := slices.IndexFunc(words, func(w string) bool { return strings.HasPrefix(w, "--") })
		answered := must(t, folder, words...)
		assert.NotContains(t, answered, "STOP", full)
		assert.NotContains(t, answered, "CARE\n", full)
		for at := name; at < len(words); {
			end := at + 1
			if end < len(words) && !strings.HasPrefix(words[end], "--") {
				end++
			}
			left := slices.Concat(words[:at], words[end:])
			code, out, errOut := runHere(t, folder, left...)
			if code == 0 {
				assert.True(t, strings.Contains(out, "CARE\n") || strings.Contains(out, "not asked, taken as no colder"), "%v without %s is answered: %s", full, words[at], out)
			} else if out == "" {
				assert.NotEmpty(t, errOut, "%v without %s", full, words[at])
			}
			at = end
		}
	}
}
