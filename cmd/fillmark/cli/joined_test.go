// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
)

// How sure a value is is typed behind it, in each of the ways that keyboards have.
func TestWhatBelongsTogetherIsTypedTogether(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	for _, same := range [][4][]string{
		{{"bench", "balance", "--fluid", "pg", "--filled-mass", "35%", "--held", "1kg"}, {"--mass", "37.9%±0.4%", "--missing", "160g±2g"}, {"--mass", "37.9%+-0.4%", "--missing", "160g +/- 2g"}, {"--mass", "37.9%±0.4%", "--missing", "160g"}},
		{{"mix", "--fluid", "pg", "--mass", "40%", "--make", "600ml", "--left-mass", "20%"}, {"--left", "15ml±5ml", "--concentrate", "95%±1%"}, {"--left", "15ml+-5ml", "--concentrate", "95% +/- 1%"}, {"--left", "15ml", "--concentrate", "95%"}},
		{{"topup", "--fluid", "pg", "--gap", "60ml", "--with", "water", "--wall", "-10C"}, {"--mass", "40%±3%", "--holds", "520ml±20ml"}, {"--mass", "40%+/-3%", "--holds", "520ml", "--holds", "±20ml"}, {"--mass", "40%", "--holds", "520ml"}},
		{{"reading", "--fluid", "pg", "--brix", "28"}, {"--at", "25C±2K"}, {"--at", "25C +- 2K"}, {"--at", "25C"}},
	} {
		one, other := runJSON(t, folder, append(same[0], same[1]...)), runJSON(t, folder, append(same[0], same[2]...))
		assert.Equal(t, one, other, "%v", same[2])
		assert.NotContains(t, one, "error", "%v", same[1])
		assert.NotEqual(t, runJSON(t, folder, append(same[0], same[3]...)), one, "%v says nothing", same[1])
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

	must(t, folder, "loop", "fill", tag, "--fluid", "pg", "--mass", "40%±1%:label", "--poured", "470ml",
		"--inhibitor", "azole:2ml/l:24:Clear: I", "--biocide", "isothiazolinone:3ml/l:6", "--biocide", "isothiazolinone", "--day", "2026-10-01", "--already-done")
	again := regexp.MustCompile(`\s+`).ReplaceAllString(must(t, folder, "loop", "show", tag, "--history"), " ")
	assert.NotContains(t, again, "3 ml/l", "a flag typed again says all of it again")
	assert.NotContains(t, again, "6 months")
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
}

// A flag in which several things are typed is told as it was typed, and nothing
// that was typed or forgotten in it is dropped.
func TestWhatIsWrongInAJoinedFlag(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	must(t, folder, "owner", "add", "--name", "Ana Ruizado")
	must(t, folder, "machine", "add", "--owner", "1", "--kind", "desktop", "--name", "tower")
	tag := regexp.MustCompile(`Its tag is (\w+)`).FindStringSubmatch(must(t, folder, "loop", "add", "--machine", "1", "--open", "--holds", "480ml"))[1]
	fill := []string{"loop", "fill", tag, "--fluid", "pg", "--poured", "470ml"}
	proof := []string{"loop", "proof", tag, "--die", "54C", "--room", "20C", "--power", "130W"}
	balance := []string{"bench", "balance", "--fluid", "pg", "--filled-mass", "35%", "--held", "1kg"}
	for _, wrong := range []struct {
		cmd, flags []string
		says       string
	}{
		{fill, []string{"--mass", "40%±x"}, `--mass "40%±x": `},
		{fill, []string{"--mass", "40%:hearsay"}, `--mass "40%:hearsay": `},
		{balance, []string{"--mass", "40%±x"}, `--mass "40%±x": `},
		{balance, []string{"--mass", "40%", "--missing", "160g"}, `--mass: how sure both strengths are is missing behind it`},
		{proof, []string{"--before", "die=hot"}, `--before "die=hot": `},
		{fill, []string{"--mass", "40%±"}, `--mass "40%±": how sure it is behind the ±`},
		{fill, []string{"--mass", "40%:"}, `--mass "40%:": something behind the last colon`},
		{proof, []string{"--before", "die"}, `--before "die": a reading and its value, such as die=81C`},
		{proof, []string{"--before", "die="}, `--before "die=": a reading and its value, such as die=81C`},
		{fill, []string{"--inhibitor", "azole:24"}, `--inhibitor "azole:24": a dose with its unit, such as 2ml/l; months stand behind two colons: azole::24`},
		{fill, []string{"--mass", "40%", "--inhibitor", "none:2ml/l:24:X"}, `--inhibitor "none": its family, or none alone`},
		{fill, []string{"--mass", "40%", "--biocide", "none::12"}, `--biocide "none": its family, or none alone`},
	} {
		code, out, errOut := runHere(t, folder, append(append([]string{}, wrong.cmd...), wrong.flags...)...)
		assert.Equal(t, exitUsage, code, "%v", wrong.flags)
		assert.Empty(t, out, "%v", wrong.flags)
		assert.Contains(t, errOut, wrong.says, "%v", wrong.flags)
	}
	assert.NotContains(t, must(t, folder, "loop", "show", tag, "--history"), "Filled")
}
