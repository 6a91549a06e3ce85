// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// table reads a CSV file of testdata, a map by column for each row.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("testdata", name))
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	require.NotEmpty(t, out)
	return out
}

// number parses a cell; NA is NaN.
func number(t *testing.T, cell string) float64 {
	t.Helper()
	if cell == "NA" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(cell, 64)
	require.NoError(t, err)
	return v
}
