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
	"strings"
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
// every expected file to what it writes, once with each library of linear
// algebra that Debian offers R. Another version of R may differ in the last
// digits, so figures may differ by 1e-7, and Turnbull's by 1e-6.
func TestExpectedFiguresComeFromR(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("runs R for some seconds")
	}
	for _, library := range []string{"blas", "openblas-pthread"} { // Debian: libblas3 and liblapack3, libopenblas0-pthread
		t.Run(library, func(t *testing.T) {
			t.Parallel()
			figuresComeFromR(t, needR(t), withBLAS(t, library))
		})
	}
}

// withBLAS is the environment in which R takes the library from the folder of
// that name, where Debian keeps it.
func withBLAS(t *testing.T, folder string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join("/usr/lib", "*", folder, "libblas.so.3"))
	require.NoError(t, err)
	if len(found) == 0 {
		peer.Missing(t, folder+"/libblas.so.3", os.ErrNotExist)
	}
	beside := filepath.Dir(found[0])
	folders := []string{beside, filepath.Join(filepath.Dir(beside), "lapack"), os.Getenv("LD_LIBRARY_PATH")}
	// R puts what this names before all else.
	env := append(os.Environ(), "R_LD_LIBRARY_PATH="+strings.Join(folders, string(os.PathListSeparator)))
	asked := exec.Command("Rscript", "-e", `cat(extSoftVersion()[["BLAS"]])`)
	asked.Env = env
	taken, err := asked.Output()
	require.NoError(t, err)
	require.Equal(t, beside, filepath.Dir(string(taken)), "R takes another BLAS than it was given")
	return env
}

func figuresComeFromR(t *testing.T, rscript string, env []string) {
	t.Helper()
	folder := filepath.Join("..", "..", "testdata", "statistics")
	out := t.TempDir()
	run := exec.Command(rscript, filepath.Join(folder, "regenerate.R"), out)
	run.Env = env
	said, err := run.CombinedOutput()
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
	if strings.HasPrefix(filepath.Base(keptName), "turnbull") {
		allowed = 1e-6
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
