// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// What is open for reading alone says so to whoever writes.
func TestReadOnlyStoreSaysSo(t *testing.T) {
	testReadOnlyStoreSaysSo(t, files)
}

func testReadOnlyStoreSaysSo(t *testing.T, fresh place) {
	path := fresh(t)
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer func() { assert.NoError(t, s.Close()) }()
	_, err = s.NewOwnerID()
	require.ErrorIs(t, err, loops.ErrReadOnly)
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	assert.True(t, report.OK(), report.Problems)
}
