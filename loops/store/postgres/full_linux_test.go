// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store/engine"
	"fillmark/loops/store/postgres"
	"fillmark/testdata/peer"
)

// On a server without room nothing is written by half, what is there can be read,
// and it goes on once there is room.
func TestServerWithoutRoom(t *testing.T) {
	t.Parallel()
	server, disk := peer.StartPostgres(t), peer.Disk(t, "4m")
	tables, filler := filepath.Join(disk, "tables"), filepath.Join(disk, "filler")
	for _, way := range []string{disk, filepath.Dir(disk)} { // its user must reach it
		require.NoError(t, os.Chmod(way, 0o755))
	}
	require.NoError(t, os.Mkdir(tables, 0o700))
	server.Own(t, tables)
	require.NoError(t, os.WriteFile(filler, make([]byte, 2<<20), 0o600))
	sql(t, server, "", fmt.Sprintf("CREATE TABLESPACE small LOCATION '%s'", tables))
	e, err := postgres.Open(server.Address("&default_tablespace=small"), engine.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, e.Close()) }()
	require.NoError(t, e.Update(func(tx engine.Writer) error { return tx.MakeBucket("count") }))
	random, kept := rand.NewChaCha8([32]byte{}), 0
	grow := func() error {
		return e.Update(func(tx engine.Writer) error {
			n, err := engine.NextSequence(tx, "count")
			for part := range byte(8) { // each less than what is kept beside its row
				value := make([]byte, 1500)
				_, _ = random.Read(value) // it never fails
				err = errors.Join(err, tx.Put("count", fmt.Appendf(nil, "%05d %d", n, part), value))
			}
			return err
		})
	}
	for err = grow(); err == nil && kept < 2000; err = grow() {
		kept++
	}
	require.ErrorIs(t, err, loops.ErrFull)
	assert.Positive(t, kept)
	there := func() (rows int) {
		require.NoError(t, e.View(func(tx engine.Reader) error {
			rows = 0
			for range tx.Ascend("count", engine.Span{}) {
				rows++
			}
			assert.EqualValues(t, kept, tx.Sequence("count"))
			return nil
		}))
		return rows
	}
	assert.Equal(t, 8*kept, there())
	require.NoError(t, os.Remove(filler))
	require.NoError(t, grow())
	kept++
	assert.Equal(t, 8*kept, there())
}
