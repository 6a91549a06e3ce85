// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// East Asian letters take two columns (Unicode Standard Annex 11), and the
// column that names the row is never cut.
func TestListFitsColumns(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	p := &printer{out: &out, width: 24}
	rows := [][]string{{"7K3QXA", "水冷技術研究所水冷技術", "a"}, {"7K3QXB", "Zoe\u0301 in the lane by the sea", "b"}, {"7K3QXC", "Bo", "c"}}
	p.list([]string{"tag", "name", "to"}, len(rows), func(i int) []string { return rows[i] })
	assert.Equal(t, strings.Join([]string{
		"  tag     name        to",
		"  7K3QXA  水冷技術…   a",
		"  7K3QXB  Zoe\u0301 in th…  b",
		"  7K3QXC  Bo          c",
		"",
	}, "\n"), out.String())
}
