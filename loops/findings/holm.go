// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"slices"
)

// Holm corrects p for their number, after Holm (1979): the chance that any of
// them is below a level by chance alone stays below that level. The order is
// kept. NaN stays NaN and does not count.
func Holm(p []float64) []float64 {
	var order []int
	out := slices.Clone(p)
	for i, v := range p {
		if v == v {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	largest := 0.0
	for rank, i := range order {
		largest = max(largest, min(1, float64(len(order)-rank)*p[i]))
		out[i] = largest
	}
	return out
}
