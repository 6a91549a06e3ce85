// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

func TestReadCSVRefuses(t *testing.T) {
	t.Parallel()
	const header = "lower,upper,count\n"
	tests := []struct {
		name, text string
		line       int
		column     string
		value      string
	}{
		{"empty", "", 1, "header", ""},
		{"no lives", header, 2, "lower", ""},
		{"missing column", "lower,upper\n1,2\n", 1, "count", "lower,upper"},
		{"unknown column", "lower,upper,count,colour\n1,2,1,red\n", 1, "4", "colour"},
		{"column twice", "lower,upper,count,lower\n1,2,1,1\n", 1, "4", "lower"},
		{"semicolons", "lower;upper;count\n1;2;1\n", 1, "1", "lower;upper;count"},
		{"upper below lower", header + "1,2,1\n5,3,1\n", 3, "upper", "3"},
		{"negative lower", header + "-1,3,1\n", 2, "lower", "-1"},
		{"negative upper", header + "1,-3,1\n", 2, "upper", "-3"},
		{"NaN lower", header + "NaN,3,1\n", 2, "lower", "NaN"},
		{"NaN upper", header + "1,nan,1\n", 2, "upper", "nan"},
		{"infinite lower", header + "Inf,Inf,1\n", 2, "lower", "+Inf"},
		{"minus infinite upper", header + "1,-Inf,1\n", 2, "upper", "-Inf"},
		{"huge", header + "1e300,,1\n", 2, "lower", "1e+300"},
		{"empty lower", header + ",3,1\n", 2, "lower", ""},
		{"word", header + "1,soon,1\n", 2, "upper", "soon"},
		{"decimal comma", header + "\"1,5\",3,1\n", 2, "lower", "1,5"},
		{"no length", header + "0,0,1\n", 2, "upper", "0"},
		{"count zero", header + "1,2,0\n", 2, "count", "0"},
		{"count negative", header + "1,2,-4\n", 2, "count", "-4"},
		{"count broken", header + "1,2,1.5\n", 2, "count", "1.5"},
		{"count empty", header + "1,2,\n", 2, "count", ""},
		{"count too large", header + "1,2,99999999999\n", 2, "count", "99999999999"},
		{"too few values", header + "1,2\n", 2, "count of values", "1,2"},
		{"too many values", header + "1,2,3,4\n", 2, "count of values", "1,2,3,4"},
		{"entry above lower", "lower,upper,count,entry\n3,5,1,4\n", 2, "entry", "4"},
		{"entry at failure", "lower,upper,count,entry\n3,3,1,3\n", 2, "entry", "3"},
		{"entry negative", "lower,upper,count,entry\n3,5,1,-1\n", 2, "entry", "-1"},
		{"found failed before it joined", "lower,upper,count,entry\n0,5,1,2\n", 2, "entry", "2"},
		{"control character", "lower,upper,count,group\n1,2,1,a\x01\n", 2, "group", "a\x01"},
		{"not UTF-8", "lower,upper,count,cause\n1,2,1,\xff\n", 2, "cause", "\xff"},
		{"long name", "lower,upper,count,cause\n1,2,1," + strings.Repeat("x", 81) + "\n", 2, "cause", strings.Repeat("x", 81)},
		{"open quote", header + "1,2,1\n\"1,2,1\n", 3, "1", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := findings.ReadCSV(strings.NewReader(tt.text))
			var bad *findings.InvalidError
			require.ErrorAs(t, err, &bad)
			assert.Equal(t, tt.line, bad.Line)
			if tt.name != "open quote" { // where the parser notices is its own affair
				assert.Equal(t, tt.column, bad.Column)
				assert.Equal(t, tt.value, bad.Value)
			}
			assert.NotEmpty(t, bad.Reason)
			assert.Contains(t, err.Error(), fmt.Sprintf("line %d, column ", tt.line))
		})
	}
}

func TestReadCSVRefusesTooManyGroups(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	text.WriteString("lower,upper,count,group\n")
	for i := range findings.MaxGroups + 1 {
		fmt.Fprintf(&text, "1,,1,g%d\n", i)
	}
	_, err := findings.ReadCSV(strings.NewReader(text.String()))
	var bad *findings.InvalidError
	require.ErrorAs(t, err, &bad)
	assert.Equal(t, findings.MaxGroups+2, bad.Line)
	assert.Equal(t, "group", bad.Column)
}

func TestReadCSVPassesReadErrorsOn(t *testing.T) {
	t.Parallel()
	torn := errors.New("disk torn off")
	_, err := findings.ReadCSV(iotest.ErrReader(torn))
	assert.ErrorIs(t, err, torn)
}

func TestReadCSVAccepts(t *testing.T) {
	t.Parallel()
	text := "\ufeff count , entry,group,cause,upper,lower\r\n2, ,eg,clog,15,12\r\n1,0,eg,,,18\r\n1,3,pg,leak,14,14\r\n3,0,eg,clog,15,12\r\n1,0,pg,leak,Inf,18\r\n"
	l, err := findings.ReadCSV(strings.NewReader(text))
	require.NoError(t, err)
	assert.Equal(t, []findings.Life{
		{Lower: 12, Upper: 15, Count: 5, Group: "eg", Cause: "clog"},
		{Lower: 14, Upper: 14, Count: 1, Entry: 3, Group: "pg", Cause: "leak"},
		{Lower: 18, Upper: math.Inf(1), Count: 1, Group: "eg"},
		{Lower: 18, Upper: math.Inf(1), Count: 1, Group: "pg"},
	}, l.Rows())
	assert.Equal(t, 8, l.N())
	assert.Equal(t, 6, l.Failures())
}

// analyse reads a file's text and analyses it; the report must be good JSON.
func analyse(t testing.TB, scope findings.Scope, text string) findings.Report {
	t.Helper()
	l, err := findings.ReadCSV(strings.NewReader(text))
	require.NoError(t, err)
	r := findings.Analyse(l, scope)
	_, err = json.Marshal(r)
	require.NoError(t, err)
	return r
}

func refusals(r findings.Report) map[string]string {
	out := map[string]string{}
	for _, refused := range r.Refused {
		out[refused.What] = refused.Why
	}
	return out
}

func TestAnalyseRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		scope findings.Scope
		text  string
		want  map[string]string // what, and part of why
	}{
		{"all censored", findings.FromFile, "lower,upper,count\n12,,5\n24,Inf,20\n", map[string]string{"weibull": "no failure", "median": "fewer than half"}},
		{"all failed at once", findings.FromFile, "lower,upper,count\n12,12,9\n", map[string]string{"weibull": "do not say how the risk changes"}},
		{"all between two inspections", findings.FromFile, "lower,upper,count\n6,12,9\n", map[string]string{"weibull": "do not say how the risk changes"}},
		{"one inspection age", findings.FromFile, "lower,upper,count\n0,12,3\n12,,9\n", map[string]string{"weibull": "do not say how the risk changes", "median": "fewer than half"}},
		{"found failed only", findings.FromFile, "lower,upper,count\n0,12,3\n", map[string]string{"b10": "no loop was seen good", "weibull": "", "drawing": ""}},
		{"one failure", findings.FromFile, "lower,upper,count\n12,12,1\n24,,30\n", map[string]string{"weibull": "two failures", "median": ""}},
		{"intervals and late entry", findings.FromFile, "lower,upper,count,entry\n12,18,3,2\n10,20,4,1\n24,,9,0\n20,30,2,0\n", map[string]string{"turnbull": "joined late"}},
		{"groups with intervals", findings.FromFile, "lower,upper,count,group\n12,18,3,a\n12,,9,b\n20,30,4,b\n24,,9,a\n", map[string]string{}},
		{"groups without failure", findings.FromFile, "lower,upper,count,group\n12,,3,a\n12,,9,b\n", map[string]string{"comparison": "no failure", "weibull": "", "median": ""}},
		{"one group", findings.FromFile, "lower,upper,count,group\n12,12,5,a\n14,14,3,a\n", map[string]string{"comparison": "all lives are in one group, a,"}},
		{"groups apart", findings.FromFile, "lower,upper,count,group,entry\n5,5,3,a,0\n30,30,9,b,20\n",
			map[string]string{"comparison": "at no age of a failure", "early ages": "up to age 5"}},
		{"few at risk", findings.FromFile, "lower,upper,count\n5,5,1\n6,6,1\n8,,1\n", map[string]string{"drawing": "fewer than 5"}},
		{"register of failures", findings.FromRegister, "lower,upper,count\n5,5,3\n6,6,4\n", map[string]string{"ages": "no healthy loop"}},
		{"register of few", findings.FromRegister, "lower,upper,count\n5,5,1\n6,6,2\n20,,40\n", map[string]string{"weibull": "fewer than five", "median": ""}},
		{"early late entries", findings.FromFile, "lower,upper,count,entry\n3,3,1,1\n20,20,6,5\n30,30,9,5\n", map[string]string{"early ages": "up to age 3"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := refusals(analyse(t, tt.scope, tt.text))
			for what, why := range tt.want {
				assert.Contains(t, got[what], why)
				assert.Contains(t, got, what)
			}
			assert.Len(t, got, len(tt.want), "%v", got)
		})
	}
}

func TestNoLowerLimitOfTheMedianIsNoSentence(t *testing.T) {
	t.Parallel()
	r := analyse(t, findings.FromFile, "lower,upper,count\n0,6,3\n12,,4\n")
	assert.Contains(t, refusals(r)["median"], "fewer than half")
	assert.NotContains(t, refusals(r)["median"], "not below")
}

func TestFileTellsWhatRegisterRefuses(t *testing.T) {
	t.Parallel()
	text := "lower,upper,count\n5,5,1\n9,9,2\n20,,4\n"
	file, register := analyse(t, findings.FromFile, text), analyse(t, findings.FromRegister, text)
	require.NotNil(t, file.Weibull)
	assert.True(t, file.Weibull.Weak)
	assert.True(t, file.B10.Estimate.Known())
	assert.Nil(t, register.Weibull)
	assert.False(t, register.B10.Estimate.Known())
	// The bound is cautious enough for both.
	assert.Equal(t, file.B10.Lower95, register.B10.Lower95)
	assert.Equal(t, "Weibayes", file.B10.Method)

	failures := analyse(t, findings.FromFile, "lower,upper,count\n5,5,3\n9,9,2\n11,11,4\n")
	assert.True(t, failures.Median.Known(), "a file of failures alone is its maker's affair")
}
