// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
)

// verdictOf runs a command line and returns the verdict it prints, which its exit
// status repeats; false where the line is refused.
func verdictOf(t *rapid.T, line string) (chemistry.Verdict, bool) {
	var out, errOut bytes.Buffer
	code := Run(t.Context(), testNow, append(strings.Fields(line), "--json"), nil, strings.NewReader(""), &out, &errOut)
	if code == exitUsage || code == exitRange {
		return "", false
	}
	var answer struct {
		Verdict chemistry.Verdict `json:"verdict"`
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &answer), "%s: %s", line, errOut.String())
	assert.Equal(t, answer.Verdict == chemistry.Stop, code == exitStop, line)
	return answer.Verdict, true
}

// A worse input never gets a better verdict from a command: a colder wall, a
// vaguer figure, a liquid or an agent that does not belong, more of what corrodes.
func TestWorseNeverPrintsBetter(t *testing.T) {
	t.Parallel()
	drawn, compared := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		figure := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		one := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
		var line, worse string
		switch one("command", "topup", "clean", "water") {
		case "topup":
			wall := figure("wall", -25, 5)
			line = fmt.Sprintf("topup --fluid %s --mass %.2f%% --holds 500ml --gap %.0fml --with concentrate:95%% --with water", one("fluid", "pg", "eg"), figure("mass", 20, 55), figure("gap", 0, 80))
			worse = one("worse", "--mass ±3%", "--with eg:95% --with pg:95%", "--with tap", "--reach", "--inhibitor none --metal copper --metal aluminium", "--ph 5", "colder")
			if worse == "colder" {
				worse = fmt.Sprintf("--wall %.2fC", wall-figure("colder", 0, 10))
				line, worse = fmt.Sprintf("%s --wall %.2fC", line, wall), line+" "+worse
			} else {
				line += fmt.Sprintf(" --wall %.2fC", wall)
				worse = line + " " + worse
			}
		case "clean":
			line = "bench clean --agent " + one("agent", "alcohol", "acid", "alkali", "bleach", "ammonia", "peroxide", "detergent") + " --metal " + one("metal", "copper", "steel", "aluminium") + " --material none"
			worse = line + " " + one("worse", "--agent bleach", "--agent acid", "--agent acetone", "--metal aluminium", "--hot", "--ignition")
		case "water":
			chloride, hardness := figure("chloride", 0, 40), figure("hardness", 0, 200)
			line = fmt.Sprintf("bench water --fluid %s --chloride %.2f --hardness %.2fppm", one("fluid", "pg", "eg", "water"), chloride, hardness)
			more := figure("more", 0, 300)
			worse = strings.Replace(line, fmt.Sprintf("--chloride %.2f", chloride), fmt.Sprintf("--chloride %.2f", chloride+more), 1)
		}
		drawn++
		before, ok := verdictOf(t, line)
		after, okToo := verdictOf(t, worse)
		if !ok || !okToo {
			return
		}
		compared++
		assert.False(t, before.Worse(after), "%s: %s, but %s: %s", line, before, worse, after)
		assert.True(t, slices.Contains([]chemistry.Verdict{chemistry.Go, chemistry.Care, chemistry.Stop}, after), worse)
	})
	assert.Greater(t, 2*compared, drawn, "most lines are answered")
}
