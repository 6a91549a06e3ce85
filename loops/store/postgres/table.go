// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres

import (
	"context"
	"fmt"
	"io/fs"
	"strings"

	"github.com/jackc/pgx/v5/pgtype"

	"fillmark/loops"
)

// The table has a row for every key. Names of buckets are bytes, so that no language
// of the server's, and no new version of it, changes their order. The bucket without
// a name holds a row for each bucket, with its counter in 8 bytes big-endian, and
// under the empty key the [mark].
const (
	table       = "fillmark"
	createTable = "CREATE TABLE IF NOT EXISTS " + table + " (bucket bytea NOT NULL, key bytea NOT NULL, value bytea NOT NULL, PRIMARY KEY (bucket, key))"

	lockValue    = "SELECT value FROM " + table + " WHERE bucket = $1 AND key = $2 FOR UPDATE"
	selectOne    = selectBucket + " AND key = $2"
	selectSome   = selectBucket + " AND key = ANY($2)"
	selectBucket = "SELECT key, value FROM " + table + " WHERE bucket = $1"
	selectAny    = "SELECT bucket, key, value FROM " + table + " LIMIT 1"

	fromOn         = selectBucket + " AND key >= $2"
	between        = fromOn + " AND key < $3"
	selectFrom     = fromOn + " ORDER BY key LIMIT $3"
	selectSpan     = between + " ORDER BY key LIMIT $4"
	selectFromBack = fromOn + " ORDER BY key DESC LIMIT $3"
	selectSpanBack = between + " ORDER BY key DESC LIMIT $4"

	insert = "INSERT INTO " + table + " (bucket, key, value) VALUES ($1, $2, $3)"
	upsert = insert + " ON CONFLICT (bucket, key) DO UPDATE SET value = excluded.value"
	remove = "DELETE FROM " + table + " WHERE bucket = $1 AND key = $2"
)

// none is the name of the bucket of counters, and the key of the mark in it.
func none() []byte { return []byte{} }

// What the server calls a table that is not there (PostgreSQL, appendix A).
const undefinedTable = "42P01"

// statement is what is sent with its arguments.
type statement struct {
	sql  string
	args []any
}

// reading is how a transaction begins that sees one snapshot.
func reading() []statement {
	return []statement{{"BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", nil}}
}

// writing is how one begins that writes. Each of its statements sees what was
// committed before it, and nothing is any more once it has the lock.
func writing() []statement {
	return []statement{
		{"BEGIN ISOLATION LEVEL READ COMMITTED", nil},
		{"SET LOCAL idle_in_transaction_session_timeout = '" + idleWriter + "'", nil},
		{lockValue, []any{none(), none()}},
	}
}

// prepare makes the table where there is none, and refuses one that is not ours.
// Each step may be done by two at once, and stands by itself: a kill between them
// leaves what the next one goes on from.
//
// Opened for reading alone it makes nothing, and what is not made yet is
// [fs.ErrNotExist].
func (e *Engine) prepare(begin context.Context) (answered bool, err error) {
	ctx, done := context.WithTimeout(begin, e.answer)
	defer done()
	if err := e.oldEnough(ctx); err != nil {
		return false, err
	}
	empty, err := e.look(ctx)
	missing := code(err) == undefinedTable
	if (missing || err == nil && empty) && e.opts.ReadOnly {
		return true, fmt.Errorf("there is no table %s with a register in it yet: %w", table, fs.ErrNotExist)
	}
	if missing {
		if _, err := e.pool.Exec(ctx, createTable); err != nil {
			return false, fault{err}
		}
		empty, err = e.look(ctx)
	}
	if err != nil {
		return false, err
	}
	if empty {
		if _, err := e.pool.Exec(ctx, insert+" ON CONFLICT (bucket, key) DO NOTHING", none(), none(), mark{}.bytes()); err != nil {
			return false, fault{err}
		}
	}
	return e.transaction(ctx, reading(), func(t *tx) error {
		t.load() // which reads the mark
		return nil
	})
}

// oldest is the oldest version of PostgreSQL that was tried; what else speaks its
// protocol says which of its versions it is like.
const oldest = 13

// oldEnough refuses a server of an older version.
func (e *Engine) oldEnough(ctx context.Context) error {
	conn, err := e.pool.Acquire(ctx)
	if err != nil {
		return fault{err}
	}
	defer conn.Release()
	version, number := conn.Conn().PgConn().ParameterStatus("server_version"), 0
	if _, err := fmt.Sscan(strings.ReplaceAll(version, ".", " "), &number); err != nil || number < oldest {
		return fmt.Errorf("its server is of version %q: PostgreSQL %d or later is right, or what is like it", version, oldest)
	}
	return nil
}

// look tells whether the table is empty, and refuses one with other columns.
func (e *Engine) look(ctx context.Context) (empty bool, err error) {
	rows, err := e.pool.Query(ctx, selectAny)
	if err != nil {
		return false, fault{err}
	}
	defer rows.Close()
	columns := rows.FieldDescriptions()
	empty = !rows.Next()
	if err := rows.Err(); err != nil {
		return false, fault{err}
	}
	for _, c := range columns {
		if c.DataTypeOID != pgtype.ByteaOID {
			return false, fmt.Errorf("%w: in the table %s the column %s is not of bytes", loops.ErrForeign, table, c.Name)
		}
	}
	return empty, nil
}
