// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package sheet_test

import (
	"bufio"
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops/sheet"
)

// Whatever stands in a cell comes back, a formula too, and no cell is written so
// that a spreadsheet would run it.
func TestRowsComeBack(t *testing.T) {
	t.Parallel()
	cell := rapid.StringMatching(`([!-~]([ -~]{0,12}[!-~])?)?`)
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.SliceOfN(cell, 2, 5).Draw(t, "cells")
		header := []string{"a", "b", "c", "d", "e"}[:len(cells)]
		var file bytes.Buffer
		to := bufio.NewWriter(&file)
		require.NoError(t, sheet.WriteRow(to, header))
		require.NoError(t, sheet.WriteRow(to, cells))
		require.NoError(t, to.Flush())
		table, err := sheet.Open(&file)
		require.NoError(t, err)
		assert.Equal(t, header, table.Header)
		for row, err := range table.Rows() {
			require.NoError(t, err)
			assert.Equal(t, 2, row.Line)
			for i, c := range row.Cells {
				assert.Equal(t, cells[i], c.Text)
				assert.Equal(t, i+1, c.Column)
			}
		}
		for _, c := range cells {
			if safe := sheet.Defused(c); safe != "" && strings.ContainsRune("=@", rune(safe[0])) {
				t.Fatalf("%q is written as %q", c, safe)
			}
		}
	})
}

// Every row that cannot be read is named, and those after it are read all the
// same.
func TestBadRowsAreNamed(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"":                       "no header",
		"a,b\n":                  "no rows",
		"a,b\n1\n2,3\n":          "line 2",
		"a,b\n1,2\n3,4,5\n6,7\n": "line 3",
		"a;b\n1;2\n\"3;4\n":      "line 3",
		"a,b\n\xff,2\n":          "line 2",
	} {
		var problems []string
		rows := 0
		table, err := sheet.Open(strings.NewReader(text))
		if err != nil {
			problems = append(problems, err.Error())
		} else {
			for _, err := range table.Rows() {
				if rows++; err != nil {
					problems = append(problems, err.Error())
				}
			}
		}
		require.Len(t, problems, 1, text)
		assert.Contains(t, problems[0], want, text)
	}
	table, err := sheet.Open(strings.NewReader("\xef\xbb\xbfHolds;Name\r\n0,5;' =x\r\n"))
	require.NoError(t, err)
	assert.Equal(t, []string{"holds", "name"}, table.Header)
	for row, err := range table.Rows() {
		require.NoError(t, err)
		number, err := row.Cells[0].Number("holds")
		require.NoError(t, err)
		assert.Equal(t, "0.5", number, "a decimal comma where semicolons part the cells")
		assert.Equal(t, "0,5", row.Cells[0].Text, "in a column of words")
	}
}
