// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

// The day beside an address that was given up is the one that --given-up-on takes:
// the workshop's.
func TestGivenUpOnTheWorkshopsDay(t *testing.T) {
	t.Parallel()
	east := time.FixedZone("east", 13*60*60)
	list := items[loops.Suppression]{Items: []loops.Suppression{{Address: "ana@garden.example", Since: time.Date(2026, time.November, 27, 20, 0, 0, 0, time.UTC)}}}
	var out strings.Builder
	printGivenUp(&printer{out: &out}, list, east)
	assert.Contains(t, out.String(), "ana@garden.example since Sat 28 Nov 2026")
}
