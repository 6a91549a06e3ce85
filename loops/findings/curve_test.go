// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

var update = flag.Bool("update", false, "write the golden files again")

func TestBoundsBeyondFailures(t *testing.T) {
	t.Parallel()
	// Nothing has failed up to 10: the exact bound of 20 at risk. Then all 15
	// of those left fail: the exact bound of none left of them.
	l := ages(t, []float64{5, 5, 5, 8, 9, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10}, nil, 15)
	c, err := findings.KaplanMeier(l)
	require.NoError(t, err)
	first, last := c.Steps[0], c.Steps[len(c.Steps)-1]
	assert.InDelta(t, math.Pow(0.05, 1.0/20), first.Lower, 1e-12)
	assert.Equal(t, 1.0, first.Upper)
	assert.Equal(t, 0.0, last.Survival)
	assert.Equal(t, 0.0, last.Lower)
	assert.InDelta(t, 1-math.Pow(0.05, 1.0/15), last.Upper, 1e-12)
	assert.True(t, math.IsNaN(last.SE))
	assert.Equal(t, 10.0, c.Median().Value)
}

func TestLateEntryStartsWhereEnoughAreAtRisk(t *testing.T) {
	t.Parallel()
	// At 3 a single loop is at risk, and fails: taken from birth the curve is
	// 0 for ever.
	l, err := findings.NewLives([]findings.Life{
		{Lower: 3, Upper: 3, Entry: 1, Count: 1},
		{Lower: 20, Upper: 20, Entry: 5, Count: 6}, {Lower: 30, Upper: math.Inf(1), Entry: 5, Count: 6},
	})
	require.NoError(t, err)
	from, err := findings.KaplanMeierFrom(l, 0, 0.95)
	require.NoError(t, err)
	assert.Equal(t, 0.0, from.Steps[len(from.Steps)-1].Survival)
	c, err := findings.KaplanMeier(l)
	require.NoError(t, err)
	assert.Equal(t, 3.0, c.Start)
	assert.InDelta(t, 0.5, c.Steps[len(c.Steps)-1].Survival, 1e-12)
}

// All that is told of one record begins at one age: the curve, its drawing, the
// median and the causes. Of none and of all there are no limits.
func TestLateEntryStartsOnce(t *testing.T) {
	t.Parallel()
	l, err := findings.NewLives([]findings.Life{
		{Lower: 3, Upper: 3, Entry: 1, Count: 1, Cause: "leak"},
		{Lower: 20, Upper: 20, Entry: 5, Count: 5, Cause: "clog"}, {Lower: 22, Upper: 22, Entry: 5, Count: 2, Cause: "clog"},
		{Lower: 30, Upper: math.Inf(1), Entry: 5, Count: 5},
	})
	require.NoError(t, err)
	all, err := findings.Incidences(l)
	require.NoError(t, err)
	require.Len(t, all, 2)
	for cause, share := range map[string]float64{"clog": 7.0 / 12, "leak": 0} {
		at := slices.IndexFunc(all, func(x findings.Incidence) bool { return x.Cause == cause })
		assert.Equal(t, 3.0, all[at].Start)
		assert.InDelta(t, share, all[at].Steps[len(all[at].Steps)-1].Share, 1e-12, cause)
	}
	r := findings.Analyse(l, findings.FromFile)
	told := map[string]string{}
	for _, a := range r.Answers {
		told[a.Question] += a.Sentence
	}
	assert.Contains(t, told["cause"], "Of loops good at age 3, by age 30, 58.3 % had failed by clog (")
	assert.Contains(t, told["cause"], "Of loops good at age 3, by age 30, 0 % had failed by leak, the other causes being at work as they are.")
	assert.Contains(t, told["median"], "Of loops good at age 3, half had failed by age 22")
	p, ok := findings.NewPlot(r, l)
	require.True(t, ok)
	drawn := string(p.SVG("months"))
	begins := fmt.Sprintf("M%.1f 40.0", 104+3/p.Oldest*496)
	assert.Equal(t, 2, strings.Count(drawn, begins), "band and curve: %s", drawn)
}

// The keys are a contract with whoever reads them.
func TestReportKeepsItsContract(t *testing.T) {
	t.Parallel()
	text, err := json.Marshal(findings.Analyse(lives(t, "leuk6mp", ""), findings.FromFile))
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(text, &got))
	assert.Equal(t, 42.0, got["n"])
	assert.Equal(t, 30.0, got["failures"])
	assert.Equal(t, 12.0, got["median"])
	assert.Equal(t, []any{}, got["refused"])
	rank := got["logrank"].(map[string]any)
	assert.InDelta(t, 16.79294098921654, rank["chisq"], 1e-9)
	assert.Equal(t, 1.0, rank["df"])
	assert.InDelta(t, 4.1688e-05, rank["p"], 1e-9)
	groups := got["groups"].([]any)
	require.Len(t, groups, 2)
	drug := groups[0].(map[string]any)
	assert.Equal(t, "6MP", drug["group"])
	assert.Equal(t, 23.0, drug["median"])
	weibull := drug["weibull"].(map[string]any)
	assert.InDelta(t, 1.353734523813934, weibull["shape"], 1e-6)
	assert.InDelta(t, 33.765150967788763, weibull["scale"], 1e-5)
	assert.InDelta(t, -41.658678476881548, weibull["loglik"], 1e-6)
	b10 := drug["b10"].(map[string]any)
	assert.InDelta(t, 2.0846152899610817, b10["lower95"], 1e-6)
	assert.Contains(t, b10, "estimate")
	km := drug["km"].([]any)
	point := km[0].(map[string]any)
	assert.Equal(t, 6.0, point["age"])
	for _, key := range []string{"survival", "lower", "upper"} {
		assert.Contains(t, point, key)
	}
	assert.NotContains(t, drug, "turnbull")

	text, err = json.Marshal(findings.Analyse(lives(t, "heatexchanger", ""), findings.FromFile))
	require.NoError(t, err)
	got = nil
	require.NoError(t, json.Unmarshal(text, &got))
	assert.NotContains(t, got, "km")
	assert.NotContains(t, got, "logrank")
	assert.NotContains(t, got, "groups")
	assert.Len(t, got["turnbull"], 3)
	assert.Nil(t, got["median"])
	refused := got["refused"].([]any)[0].(map[string]any)
	assert.Equal(t, "median", refused["what"])
	assert.NotEmpty(t, refused["why"])
}

func TestPlot(t *testing.T) {
	t.Parallel()
	l := lives(t, "leuk6mp", "")
	p, ok := findings.NewPlot(findings.Analyse(l, findings.FromFile), l)
	require.True(t, ok)
	assert.Equal(t, []float64{0, 5, 10, 15, 20, 25}, p.Ages)
	require.Len(t, p.Curves, 2)
	// Those at risk just before 5 and 10 months, as in the table of risk sets
	// that goes with these data.
	assert.Equal(t, []int{21, 21, 15, 11, 8, 5}, p.Curves[0].AtRisk)
	assert.Equal(t, []int{21, 14, 8, 4, 2, 0}, p.Curves[1].AtRisk)
	assert.Equal(t, 12.0, p.Curves[1].Until, "drawn while five are at risk")
	assert.True(t, math.IsNaN(p.Mark))
}

func TestNoPlotOfFewLives(t *testing.T) {
	t.Parallel()
	l := ages(t, []float64{3, 5, 9}, nil, 1)
	_, ok := findings.NewPlot(findings.Analyse(l, findings.FromFile), l)
	assert.False(t, ok)
}

func TestNoPlotOfNoAge(t *testing.T) {
	t.Parallel()
	l, err := findings.NewLives([]findings.Life{{Upper: math.Inf(1), Count: 9}})
	require.NoError(t, err)
	_, ok := findings.NewPlot(findings.Analyse(l, findings.FromFile), l)
	assert.False(t, ok)
}

// Ages as far apart as they may be, and as many lives, break nothing.
func TestExtremeLives(t *testing.T) {
	t.Parallel()
	never := math.Inf(1)
	for name, rows := range map[string][]findings.Life{
		"far apart":  {{Lower: 1e-300, Upper: 1e-300, Count: 1}, {Lower: 1e12, Upper: 1e12, Count: 1}, {Lower: 1e12, Upper: never, Count: 1_000_000_000}},
		"tiny":       {{Lower: 5e-324, Upper: 1e-300, Count: 1_000_000_000}, {Upper: 1e12, Count: 1_000_000_000}, {Lower: 3, Upper: never, Count: 1}},
		"many":       {{Lower: 5, Upper: 5, Count: 1_000_000_000, Group: "a"}, {Lower: 6, Upper: 6, Count: 1_000_000_000, Group: "b"}, {Lower: 7, Upper: never, Count: 1_000_000_000}},
		"narrow":     {{Lower: 1, Upper: 1.0000000001, Count: 3}, {Lower: 2, Upper: 2.0000000001, Count: 3}, {Lower: 3, Upper: never, Count: 9}},
		"just in":    {{Lower: 5, Upper: 5, Count: 3, Entry: 4.9999999999}, {Lower: 6, Upper: 6, Count: 3, Entry: 5}, {Lower: 7, Upper: never, Count: 9, Entry: 7}},
		"never seen": {{Lower: 7, Upper: never, Count: 9, Entry: 7}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l, err := findings.NewLives(rows)
			require.NoError(t, err)
			r := findings.Analyse(l, findings.FromFile)
			_, err = json.Marshal(r)
			require.NoError(t, err)
			if p, ok := findings.NewPlot(r, l); ok {
				wellFormed(t, p.SVG(""))
			}
		})
	}
}

func TestSVGGolden(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"leuk6mp", "loops_syn"} {
		l := lives(t, name, "")
		p, ok := findings.NewPlot(findings.Analyse(l, findings.FromFile), l)
		require.True(t, ok)
		got := p.SVG("months")
		wellFormed(t, got)
		golden := filepath.Join("testdata", name+".svg")
		if *update {
			require.NoError(t, os.WriteFile(golden, got, 0o644))
		}
		want, err := os.ReadFile(golden)
		require.NoError(t, err)
		assert.Equal(t, string(want), string(got))
	}
}
