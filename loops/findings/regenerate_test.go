// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
)

// needR finds Rscript with the survival package. CI has it; elsewhere the test
// is skipped.
func needR(t *testing.T) string {
	t.Helper()
	rscript := peer.Program(t, "Rscript")
	return peer.Answering(t, rscript, "-e", "library(survival)") // Debian: r-cran-survival
}

// TestExpectedFiguresComeFromR runs testdata/statistics/regenerate.R and holds
// every expected file to what it writes. Another version of R may differ in the
// last digits, so figures may differ by 1e-7, Turnbull's and Weibull's by 1e-6.
func TestExpectedFiguresComeFromR(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("runs R for some seconds")
	}
	rscript := needR(t)
	folder := filepath.Join("..", "..", "testdata", "statistics")
	out := t.TempDir()
	said, err := exec.Command(rscript, filepath.Join(folder, "regenerate.R"), out).CombinedOutput()
	require.NoError(t, err, string(said))

	data := []string{"data_causes.csv", "data_interval.csv", "data_right.csv", "data_strata.csv", "sources.csv"}
	kept, err := filepath.Glob(filepath.Join(folder, "*.csv"))
	require.NoError(t, err)
	compared := 0
	for _, name := range kept {
		if base := filepath.Base(name); !slices.Contains(data, base) {
			compared++
			sameFigures(t, name, filepath.Join(out, base))
		}
	}
	made, err := filepath.Glob(filepath.Join(out, "*.csv"))
	require.NoError(t, err)
	assert.Len(t, made, compared, "R writes a file that is not kept")
}

func sameFigures(t *testing.T, keptName, madeName string) {
	t.Helper()
	kept, made := records(t, keptName), records(t, madeName)
	require.Len(t, made, len(kept), keptName)
	allowed := 1e-7
	switch filepath.Base(keptName) {
	case "turnbull.csv", "turnbull_limits.csv":
		allowed = 1e-6
	case "weibull_mle.csv", "weibull_quantile.csv":
		allowed = 1e-6 // second derivatives by differences
	}
	for i := range kept {
		for j, want := range kept[i] {
			got := made[i][j]
			a, errA := strconv.ParseFloat(want, 64)
			b, errB := strconv.ParseFloat(got, 64)
			if errA != nil || errB != nil || math.IsInf(a, 0) || math.IsNaN(a) {
				assert.Equal(t, want, got, "%s line %d", keptName, i+1)
				continue
			}
			assert.InDelta(t, a, b, allowed*math.Max(1, math.Abs(a)), "%s line %d %s", keptName, i+1, kept[0][j])
		}
	}
}

func records(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	out, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return out
}
