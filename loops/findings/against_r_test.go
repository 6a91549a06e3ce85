// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package findings_test

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fillmark/testdata/seeded"
)

// TestCampaignSpeedAgainstR times the same million rows here and in R, one
// after the other, and prints the ratio of the processor time, which others on
// the machine disturb less than the clock. It asserts nothing about time.
func TestCampaignSpeedAgainstR(t *testing.T) {
	if !seeded.Long() {
		t.Skip("takes minutes: FILLMARK_CAMPAIGN=full")
	}
	rscript := needR(t)
	for _, months := range []bool{false, true} {
		rows := million(1_000_000, months)
		name := filepath.Join(t.TempDir(), "lives.csv")
		require.NoError(t, os.WriteFile(name, csvOf(rows), 0o600))
		said, err := exec.Command(rscript, filepath.Join("..", "..", "testdata", "statistics", "compare.R"), name).Output()
		require.NoError(t, err)
		seconds := map[string]float64{}
		for line := range strings.Lines(string(said)) {
			method, took, _ := strings.Cut(strings.TrimSpace(line), "\t")
			seconds[method], err = strconv.ParseFloat(took, 64)
			require.NoError(t, err, line)
		}
		for _, m := range methods() {
			best := math.Inf(1)
			for range 3 { // as R does
				runtime.GC() // of what came before
				start := seeded.ProcessorTime(t)
				require.NoError(t, m.run(rows))
				best = math.Min(best, (seeded.ProcessorTime(t) - start).Seconds())
			}
			told := 0
			for method, r := range seconds {
				if strings.HasPrefix(method, m.against) {
					told++
					t.Logf("whole months %v, %s: here %.3f s, R's %s %.2f s, %.1f times", months, m.name, best, method, r, r/best)
				}
			}
			require.Equal(t, months || m.name != "Turnbull", told > 0, m.name)
		}
	}
}
