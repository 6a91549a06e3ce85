// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/store"
)

// Many goroutines write, read, check, back up and compact at once: nothing
// waits for ever, and every write is there.
func TestConcurrentUse(t *testing.T) {
	t.Parallel()
	testConcurrentUse(t, files)
}

func testConcurrentUse(t *testing.T, fresh place) {
	s := fresh.open(t)
	const writers, each = 4, 25
	var all sync.WaitGroup
	for range writers {
		all.Go(func() {
			for range each {
				c, err := nextWorkshop(s)
				if assert.NoError(t, err) {
					assert.NoError(t, s.Commit(c))
				}
			}
		})
	}
	all.Go(func() {
		for range 20 {
			for l, err := range s.Loops() {
				if assert.NoError(t, err) {
					_, err = s.History(l.ID)
					assert.NoError(t, err)
				}
			}
		}
	})
	inFile := !store.InDatabase(s.Path())
	all.Go(func() {
		for range 5 {
			if inFile {
				_, _, err := s.Compact(t.Context())
				assert.NoError(t, err)
			}
			report, err := s.Check(t.Context())
			assert.NoError(t, err)
			assert.Empty(t, report.Problems)
		}
	})
	folder := t.TempDir()
	all.Go(func() {
		for n := 0; inFile && n < 5; n++ {
			assert.NoError(t, s.Backup(t.Context(), filepath.Join(folder, string(rune('a'+n)))))
		}
	})
	all.Wait()
	assert.Len(t, collect(t, s.Loops()), writers*each)
	require.Len(t, collect(t, s.Audit()), writers*each)
	sound(t, s)
}
