// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/loops/store/engine"
	"fillmark/loops/store/postgres"
	"fillmark/testdata/peer"
)

func TestStoreInADatabase(t *testing.T) {
	t.Parallel()
	server := peer.StartPostgres(t)
	t.Run("moves", func(t *testing.T) { moves(t, server) })
	t.Run("is one for all", func(t *testing.T) { sharedStore(t, server) })
	t.Run("migrates once", func(t *testing.T) { migratesOnce(t, server) })
	t.Run("goes on from half", func(t *testing.T) { goesOnFromHalf(t, server) })
	t.Run("is like a file", func(t *testing.T) { likeAFile(t, server) })
	t.Run("killed while writing", func(t *testing.T) { killedWhileWriting(t, server) })
	t.Run("agrees with a model", func(t *testing.T) { agreesWithModel(t, server) })
}

// What holds for a store in a file holds for one in a database.
func likeAFile(t *testing.T, server *peer.Postgres) {
	var schemas atomic.Int32
	fresh := func(t testing.TB) string { return schema(t, server, fmt.Sprint("like", schemas.Add(1))) }
	for name, test := range map[string]func(*testing.T, place){
		"commit and read":                             testCommitAndRead,
		"text of schema 1":                            testTextOfSchema1,
		"reading text of schema 1":                    testReadTextOfSchema1,
		"not found":                                   testNotFound,
		"commit refuses":                              testCommitRefuses,
		"commit of nothing writes nothing":            testCommitOfNothingWritesNothing,
		"two technicians":                             testTwoTechnicians,
		"due index follows the plan":                  testDueIndexFollowsThePlan,
		"indexes move":                                testIndexesMove,
		"ids are not handed out twice":                testIDsAreNotHandedOutTwice,
		"scan while writing":                          testScanWhileWriting,
		"clock set back":                              testClockSetBack,
		"stages count once settled":                   testStagesCountOnceSettled,
		"attempt is of the register it was judged by": testAttemptIsOfTheRegisterItWasJudgedBy,
		"uptime":                              testUptime,
		"concurrent use":                      testConcurrentUse,
		"many records at once":                testManyRecordsAtOnce,
		"next queued":                         testNextQueued,
		"delivery":                            testDelivery,
		"hold release drop":                   testHoldReleaseDrop,
		"messages newest first":               testMessagesNewestFirst,
		"outcome after drop":                  testOutcomeAfterDrop,
		"outcome of an overtaken attempt":     testOutcomeOfAnAttemptThatWasOvertaken,
		"delete bodies":                       testDeleteBodies,
		"bounces count until a delivery":      testBouncesCountUntilADelivery,
		"requeue":                             testRequeue,
		"erase owner":                         testEraseOwner,
		"erase a former owner":                testEraseAFormerOwner,
		"export of a former owner":            testExportOfAFormerOwner,
		"export owner":                        testExportOwner,
		"evidence":                            testEvidence,
		"read watch once":                     testReadWatchOnce,
		"act keys":                            testActKeys,
		"import of an export before the acts": testImportOfAnExportBeforeTheActs,
		"alarms and canary":                   testAlarmsAndCanary,
		"mail is dealt with once":             testMailIsDealtWithOnce,
		"revision changes with every write and only then": testRevisionChangesWithEveryWriteAndOnlyThen,
		"read only store says so":                         testReadOnlyStoreSaysSo,
		"round trip of many records":                      testRoundTripOfManyRecords,
		"import refuses":                                  testImportRefuses,
		"export holds no secret":                          testExportHoldsNoSecret,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, fresh)
		})
	}
}

// A few of the histories that a file has a hundred of.
func agreesWithModel(t *testing.T, server *peer.Postgres) {
	const histories = 2
	tried := 0
	history := rapid.MakeFuzz(func(r *rapid.T) {
		tried++
		againstModel(r, schema(t, server, fmt.Sprint("model", tried)))
	})
	for n := range uint8(histories) {
		draws := make([]byte, 1<<16)
		_, _ = rand.NewChaCha8([32]byte{n}).Read(draws) // it never fails
		history(t, draws)
	}
	assert.Equal(t, histories, tried)
}

// A server that is away is not taken for one that has no register, also where it took
// its socket with it.
func TestADatabaseAwayIsNotMissing(t *testing.T) {
	t.Parallel()
	_, err := store.There("postgres:///shop?user=bench&host=" + t.TempDir())
	require.ErrorIs(t, err, loops.ErrAway)
}

// Several that open a register of an older schema at once take each step once.
func migratesOnce(t *testing.T, server *peer.Postgres) {
	address := schema(t, server, "old")
	old, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	require.NoError(t, old.Close())
	const bucket = "meta"
	step := func(tx engine.Writer) error {
		_, err := engine.NextSequence(tx, bucket)
		return err
	}
	var all sync.WaitGroup
	for range 5 {
		all.Go(func() {
			s, err := store.OpenWith(address, step, step)
			if assert.NoError(t, err) {
				assert.NoError(t, s.Close())
			}
		})
	}
	all.Wait()
	kept, err := postgres.Open(address, engine.Options{})
	require.NoError(t, err)
	require.NoError(t, kept.View(func(tx engine.Reader) error {
		assert.EqualValues(t, 2, tx.Sequence(bucket))
		return nil
	}))
	require.NoError(t, kept.Close())
	_, err = store.Open(address, store.Options{})
	require.ErrorIs(t, err, loops.ErrNewer)
}

// Made or migrated by half, as a kill leaves it, it is gone on with; a step that
// fails leaves those before it and nothing of its own.
func goesOnFromHalf(t *testing.T, server *peer.Postgres) {
	address := schema(t, server, "half_made")
	kept, err := postgres.Open(address, engine.Options{}) // a table with nothing but its mark
	require.NoError(t, err)
	there, err := store.There(address)
	require.NoError(t, err)
	assert.False(t, there)
	s, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	id := s.ID()
	require.NoError(t, s.Commit(workshop(t, s)))
	require.NoError(t, s.Close())

	const bucket = "meta"
	step := func(tx engine.Writer) error {
		_, err := engine.NextSequence(tx, bucket)
		return err
	}
	taken := func() (n uint64) {
		require.NoError(t, kept.View(func(tx engine.Reader) error {
			n = tx.Sequence(bucket)
			return nil
		}))
		return n
	}
	_, err = store.OpenWith(address, step, func(tx engine.Writer) error {
		return errors.Join(step(tx), errors.New("as if killed here"))
	}, step)
	require.ErrorContains(t, err, "migration to schema 3")
	assert.EqualValues(t, 1, taken())
	s, err = store.OpenWith(address, step, step, step)
	require.NoError(t, err)
	assert.EqualValues(t, 3, taken())
	assert.Equal(t, id, s.ID())
	require.NoError(t, s.Close())
	require.NoError(t, kept.Close())
}

// A store in a database is the store in a file: what one exports the other takes
// and exports again, byte for byte, and the check finds nothing wrong with either.
func moves(t *testing.T, server *peer.Postgres) {
	file := open(t)
	everything(t, file)
	want := exportOf(t, file)

	address := schema(t, server, "moved")
	require.NoError(t, store.Import(t.Context(), address, bytes.NewReader(want)))
	database, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	sound(t, database)
	assert.Equal(t, string(want), string(exportOf(t, database)))

	// It goes on there, and back.
	require.NoError(t, database.Commit(workshop(t, database)))
	sound(t, database)
	more := exportOf(t, database)
	back := filepath.Join(t.TempDir(), "back")
	require.NoError(t, store.Import(t.Context(), back, bytes.NewReader(more)))
	again, err := store.Open(back, store.Options{})
	require.NoError(t, err)
	assert.Equal(t, string(more), string(exportOf(t, again)))
	require.NoError(t, again.Close())

	// One that is there is never replaced, one that is cut off leaves nothing.
	require.ErrorIs(t, store.Import(t.Context(), address, bytes.NewReader(want)), os.ErrExist)
	half := schema(t, server, "half")
	require.Error(t, store.Import(t.Context(), half, bytes.NewReader(want[:len(want)/2])))
	require.NoError(t, store.Import(t.Context(), half, bytes.NewReader(want)))

	// What only a file has is refused, and says so.
	_, _, err = database.Compact(t.Context())
	require.ErrorContains(t, err, "not kept in a file")
	require.ErrorContains(t, database.Backup(t.Context(), back+".backup"), "not kept in a file")
	require.NoError(t, database.InPlace())
	require.NoError(t, database.Close())
}

// A new database becomes a store, opened by two at once it is one, and what is
// opened for reading alone is not written to.
func sharedStore(t *testing.T, server *peer.Postgres) {
	address := schema(t, server, "shop")
	_, err := store.Open(address, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, fs.ErrNotExist)
	first, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	second, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	assert.Equal(t, first.ID(), second.ID())
	assert.Len(t, first.ID(), 32)

	c := workshop(t, first)
	require.NoError(t, first.Commit(c))
	got, err := second.Owner(c.Owners[0].ID)
	require.NoError(t, err)
	require.NoError(t, first.Commit(loops.Change{At: noon, By: "local:test", Action: "edit", Owners: []loops.Owner{got}}))
	require.ErrorIs(t, second.Commit(loops.Change{At: noon, By: "local:test", Action: "edit", Owners: []loops.Owner{got}}), loops.ErrConflict,
		"the same is told as in a file")
	sound(t, second)

	reader, err := store.Open(address, store.Options{ReadOnly: true})
	require.NoError(t, err)
	_, err = reader.NewOwnerID()
	require.ErrorIs(t, err, loops.ErrReadOnly)
	for _, s := range []*store.Store{first, second, reader} {
		require.NoError(t, s.Close())
	}
}

// However many keys are asked for at once, each is then known without another
// question: the line is gone while they are read.
func TestManyKeysAreOneQuestion(t *testing.T) {
	t.Parallel()
	server := peer.StartPostgres(t)
	e, err := postgres.Open(server.Address(""), engine.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, e.Close()) }()
	var keys [][]byte
	require.NoError(t, e.Update(func(tx engine.Writer) error {
		err := tx.MakeBucket("some")
		for n := range 5000 { // more than are remembered in a transaction that goes on
			keys = append(keys, fmt.Appendf(nil, "%05d", n))
			err = errors.Join(err, tx.Put("some", keys[n], keys[n]))
		}
		return err
	}))
	other, err := pgx.Connect(t.Context(), server.Address(""))
	require.NoError(t, err)
	defer func() { assert.NoError(t, other.Close(context.Background())) }()
	tries, wrong := 0, 0
	require.NoError(t, e.View(func(tx engine.Reader) error {
		tries++
		tx.GetMany("some", keys)
		if _, err := other.Exec(t.Context(), "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND backend_type = 'client backend'"); err != nil {
			return err
		}
		for _, key := range keys {
			if !bytes.Equal(tx.Get("some", key), key) {
				wrong++
			}
		}
		return nil
	}))
	assert.Equal(t, 1, tries)
	assert.Zero(t, wrong)
}
