// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

// Weibayes is the bound for one known shape, for tests against R: users get the
// least of several.
func Weibayes(lives Lives, shape, p, level float64) float64 {
	return weibayes(float64(lives.Failures()), exposure(lives, shape), shape, p, level)
}
