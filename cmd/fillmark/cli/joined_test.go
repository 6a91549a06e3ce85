// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// How sure a value is, how it is known and what a label says may be typed in
// the flag of the value; flags of their own say the same.
func TestWhatBelongsTogetherIsTypedTogether(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	for _, same := range [][3][]string{
		{{"bench", "balance", "--fluid", "pg", "--filled-mass", "35%", "--held", "1kg"}, {"--mass", "37.9%±0.4%", "--missing", "160g±2g"}, {"--mass", "37.9%", "--mass-uncertainty", "0.4%", "--missing", "160g", "--missing-uncertainty", "2g"}},
		{{"mix", "--fluid", "pg", "--mass", "40%", "--make", "600ml", "--left-mass", "20%"}, {"--left", "15ml+-5ml", "--concentrate", "95% +/- 1%"}, {"--left", "15ml", "--left-uncertainty", "5ml", "--concentrate", "95%", "--concentrate-uncertainty", "1%"}},
		{{"topup", "--fluid", "pg", "--gap", "60ml", "--with", "water", "--wall", "-10C"}, {"--mass", "40%±3%", "--holds", "520ml±20ml"}, {"--mass", "40%", "--mass-uncertainty", "3%", "--holds", "520ml", "--holds-uncertainty", "20ml"}},
		{{"reading", "--fluid", "pg", "--brix", "28"}, {"--at", "25C±2K"}, {"--at", "25C", "--at-uncertainty", "2K"}},
	} {
		together, apart := runJSON(t, folder, append(same[0], same[1]...)), runJSON(t, folder, append(same[0], same[2]...))
		assert.Equal(t, apart, together, "%v", same[1])
		assert.NotEqual(t, runJSON(t, folder, append(append([]string{}, same[0]...), same[2][:2]...)), together, "%v says nothing", same[1])
	}
}

func runJSON(t *testing.T, folder string, args []string) string {
	t.Helper()
	_, out, errOut := runHere(t, folder, append(append([]string{}, args...), "--json")...)
	return out + errOut
}

func TestRecordsAndActsAreTypedTogether(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	must(t, folder, "owner", "add", "--name", "Ana Ruizado")
	must(t, folder, "machine", "add", "--owner", "1", "--kind", "desktop", "--name", "tower")
	tag := regexp.MustCompile(`Its tag is (\w+)`).FindStringSubmatch(must(t, folder, "loop", "add", "--machine", "1", "--open",
		"--holds", "480ml±20ml:label=the maker's sheet", "--wall", "-10C:owner says=a heated hall"))[1]
	built := must(t, folder, "loop", "show", tag)
	assert.Contains(t, built, "holds 480 ml ± 20 ml (label); coldest wall -10.0 °C (told)")
	assert.Contains(t, must(t, folder, "loop", "show", tag, "--json"), "the maker's sheet")
	must(t, folder, "loop", "edit", tag, "--holds", "±5ml")
	assert.Contains(t, must(t, folder, "loop", "show", tag), "holds 480 ml ± 5 ml")

	must(t, folder, "loop", "fill", tag, "--fluid", "pg", "--mass", "40%±1%:label", "--poured", "470ml", "--inhibitor", "azole:2ml/l:24:Clear: I", "--biocide", "isothiazolinone::12", "--day", "2026-11-01", "--already-done")
	filled := must(t, folder, "loop", "show", tag, "--history")
	for _, want := range []string{"40.0", "1.0", "label", "Clear: I", "2 ml/l", "24 months", "12 months"} {
		assert.Contains(t, regexp.MustCompile(`\s+`).ReplaceAllString(filled, " "), want)
	}
	must(t, folder, "loop", "proof", tag, "--before", "die=91C", "--before", "room=19.5C", "--before", "power=130W", "--before", "steady",
		"--die", "54.5C", "--room", "19.5C", "--power", "130W", "--steady", "--day", "2026-11-02", "--already-done")
	proved := must(t, folder, "loop", "show", tag, "--json")
	assert.Contains(t, proved, `"die_c": 91`)

	code, out, errOut := runHere(t, folder, "loop", "proof", tag, "--before", "pump=91C", "--die", "54C")
	assert.Equal(t, exitUsage, code)
	assert.Empty(t, out)
	assert.Contains(t, errOut, `--before "pump=91C": a reading and its value, such as die=81C`)
	code, _, errOut = runHere(t, folder, "loop", "fill", tag, "--fluid", "pg", "--mass", "40%±x", "--poured", "470ml")
	require.Equal(t, exitUsage, code)
	assert.Contains(t, errOut, "--mass")
}
