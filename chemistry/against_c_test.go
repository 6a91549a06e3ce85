// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package chemistry_test

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// inC is what testdata/chemistry/melinder.c makes of the published coefficients:
// a line for each state, and the nanoseconds of one density.
func inC(t testing.TB) (states []string, nanoseconds float64) {
	t.Helper()
	gcc := peer.Program(t, "gcc")
	program := filepath.Join(t.TempDir(), "melinder")
	said, err := exec.CommandContext(t.Context(), gcc, "-O2", "-std=gnu11", "-Wall", "-Werror", "-o", program, "../testdata/chemistry/melinder.c", "-lm").CombinedOutput()
	require.NoError(t, err, "%s", said)
	said, err = exec.CommandContext(t.Context(), program, "tables/melinder2010.csv").Output()
	require.NoError(t, err)
	for line := range strings.Lines(string(said)) {
		if n, _ := fmt.Sscanf(line, "ns %g", &nanoseconds); n == 0 {
			states = append(states, strings.TrimSpace(line))
		}
	}
	return states, nanoseconds
}

// TestPropertiesAgainstC compares every property with Melinder's coefficients
// (Properties of Secondary Working Fluids, IIR 2010) evaluated apart, in C.
func TestPropertiesAgainstC(t *testing.T) {
	t.Parallel()
	states, _ := inC(t)
	compared := 0
	for _, line := range states {
		var fluid string
		var percent, celsius, density, heat, conductivity, viscosity float64
		_, err := fmt.Sscan(line, &fluid, &percent, &celsius, &density, &heat, &conductivity, &viscosity)
		require.NoError(t, err, line)
		p, err := chemistry.Props(chemistry.Fluid(fluid), chemistry.MassFraction(percent/100), chemistry.Celsius(celsius))
		if err != nil {
			continue // frozen there
		}
		assert.InEpsilon(t, density, 1000*float64(p.Density), 1e-12, line)
		assert.InEpsilon(t, heat, float64(p.SpecificHeat), 1e-12, line)
		assert.InEpsilon(t, conductivity, float64(p.Conductivity), 1e-12, line)
		assert.InEpsilon(t, viscosity*1000, float64(p.Viscosity), 1e-12, line)
		compared++
	}
	assert.Greater(t, compared, 450)
}

// BenchmarkDensityBesideC sets a density, checks of its range included, beside
// the bare polynomial in C.
func BenchmarkDensityBesideC(b *testing.B) {
	_, bare := inC(b)
	begin := seeded.ProcessorTime(b)
	for b.Loop() {
		if _, err := chemistry.Density(chemistry.EthyleneGlycol, 0.35, 20); err != nil {
			b.Fatal(err)
		}
	}
	ours := float64((seeded.ProcessorTime(b) - begin).Nanoseconds()) / float64(b.N)
	b.ReportMetric(ours, "cpu-ns")
	b.ReportMetric(bare, "c-ns")
	b.ReportMetric(ours/bare, "ratio")
}
