// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package seeded is how long the campaigns among the tests are, and what they
// draw from: a test that goes on at random says its seed and can be repeated.
package seeded

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// Long tells that FILLMARK_CAMPAIGN=full asks for the long form of a campaign.
func Long() bool { return os.Getenv("FILLMARK_CAMPAIGN") == "full" }

// Times is how often to do something: short with every run of the tests, long
// in a campaign.
func Times(short, long int) int {
	if Long() {
		return long
	}
	return short
}

// Seed is the number in FILLMARK_CAMPAIGN_SEED, which repeats a run, or else a
// new one. Either way the log has it.
func Seed(t testing.TB) uint64 {
	t.Helper()
	seed := rand.Uint64()
	if given := os.Getenv("FILLMARK_CAMPAIGN_SEED"); given != "" {
		var err error
		if seed, err = strconv.ParseUint(given, 10, 64); err != nil {
			t.Fatalf("FILLMARK_CAMPAIGN_SEED is %q: a whole number is right: %v", given, err)
		}
	}
	t.Logf("FILLMARK_CAMPAIGN_SEED=%d", seed)
	return seed
}
