// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// tx is a transaction: an [engine.Writer] inside Update, and one to read with
// elsewhere. What is put waits, and goes to the server with the next question or
// with the commit, so that it costs no round trip of its own.
type tx struct {
	conn    *pgxpool.Conn
	begin   context.Context // until the first answer has come
	answer  time.Duration   // at most, for each question
	waiting *pgx.Batch
	size    int // of what waits, in bytes

	heads map[string]uint64 // the counter of each bucket; nil until the server has answered
	mark  mark

	known map[string]map[string][]byte // by bucket and key; nil for one that is not there
	begun map[string][]row             // by bucket and span, what it begins with
	asked map[string]bool              // keys and spans whose answer comes with the next flush

	answered bool // at least once
	reads    bool // and does nothing else
	wrote    bool
	moved    map[string]bool // counters that are to be written
}

func newTx(ctx context.Context, answer time.Duration, conn *pgxpool.Conn, begin []statement) *tx {
	t := &tx{conn: conn, begin: ctx, answer: answer, waiting: &pgx.Batch{}, moved: map[string]bool{}, known: map[string]map[string][]byte{}, begun: map[string][]row{}, asked: map[string]bool{}}
	for _, s := range begin {
		t.waiting.Queue(s.sql, s.args...)
	}
	t.waiting.Queue(selectBucket, none()).Query(t.readHeads)
	return t
}

// readHeads takes the mark and the counters.
func (t *tx) readHeads(rows pgx.Rows) error {
	heads, marked := map[string]uint64{}, false
	for rows.Next() {
		var key, value []byte
		err := rows.Scan(&key, &value)
		switch {
		case err != nil:
			return err
		case len(key) == 0:
			t.mark, err = readMark(value)
			marked = true
		case len(value) != 8:
			err = fmt.Errorf("%w: the counter of the bucket %q has %d bytes", loops.ErrDamaged, key, len(value))
		default:
			heads[string(key)] = binary.BigEndian.Uint64(value)
		}
		if err != nil {
			return err
		}
	}
	switch err := rows.Err(); {
	case err != nil:
		return err
	case !marked:
		return fmt.Errorf("%w: the table %s does not say what it is", loops.ErrForeign, table)
	}
	t.heads = heads
	return nil
}

// flush sends what waits and takes the answers, in one round trip.
func (t *tx) flush() error {
	batch := t.waiting
	t.waiting, t.size = &pgx.Batch{}, 0
	clear(t.asked)
	ctx := t.begin
	if t.answered {
		ctx = context.Background()
	}
	ctx, done := context.WithTimeout(ctx, t.answer)
	defer done()
	if err := t.conn.SendBatch(ctx, batch).Close(); err != nil {
		return fault{err}
	}
	t.answered = true
	return nil
}

// must ends the transaction with an error.
func must(err error) {
	if err != nil {
		panic(err) // a fault, which [Engine.transaction] takes
	}
}

// load has the heads come.
func (t *tx) load() {
	if t.heads == nil {
		must(t.flush())
	}
}

// head returns a bucket's counter. A bucket that is missing is damage.
func (t *tx) head(bucket string) uint64 {
	t.load()
	n, there := t.heads[bucket]
	if !there {
		must(fault{fmt.Errorf("%w: the bucket %q is missing", loops.ErrDamaged, bucket)})
	}
	return n
}

// Get returns the value of a key, nil where there is none.
func (t *tx) Get(bucket string, key []byte) []byte { return t.GetMany(bucket, [][]byte{key})[0] }

// GetMany returns the values of several keys, and remembers them: nobody else
// changes what a transaction sees.
func (t *tx) GetMany(bucket string, keys [][]byte) [][]byte {
	known := t.known[bucket]
	if len(known) > mostKnown && slices.ContainsFunc(keys, func(key []byte) bool { _, ok := known[string(key)]; return !ok }) {
		delete(t.known, bucket) // before more comes, not while what came ahead is read
	}
	if t.ask(bucket, keys) {
		must(t.flush())
	}
	t.head(bucket)
	values := make([][]byte, len(keys))
	for i, key := range keys {
		values[i] = t.known[bucket][string(key)]
	}
	return values
}

// ask has what is not known of keys come with the next flush, and tells whether
// that is anything.
func (t *tx) ask(bucket string, keys [][]byte) bool {
	var unknown [][]byte
	comes := false
	for _, key := range keys {
		if _, ok := t.known[bucket][string(key)]; ok {
			continue
		}
		comes = true
		if id := bucket + "\x00" + string(key); !t.asked[id] {
			t.asked[id] = true
			unknown = append(unknown, key)
		}
	}
	for some := range slices.Chunk(unknown, lastPage) {
		sql, which := selectSome, any(some)
		if len(some) == 1 {
			sql, which = selectOne, some[0]
		}
		t.queueRows(func(rows []row) {
			for _, key := range some {
				t.knows(bucket, key, nil)
			}
			for _, r := range rows {
				t.knows(bucket, r.key, r.value)
			}
		}, sql, []byte(bucket), which)
	}
	return comes
}

// Ahead has keys, and the first page of each span, come with the next question. One
// that writes asks when it comes to it, since it may write to them before.
func (t *tx) Ahead(bucket string, keys [][]byte, spans ...engine.Span) {
	if !t.reads {
		return
	}
	t.ask(bucket, keys)
	for _, span := range spans {
		id := spanID(bucket, span)
		if _, known := t.begun[id]; known || t.asked[id] {
			continue
		}
		t.asked[id] = true
		sql, args := upwards(bucket, span, firstPage)
		t.queueRows(func(rows []row) {
			t.begun[id] = rows
			for _, r := range rows {
				t.knows(bucket, r.key, r.value)
			}
		}, sql, args...)
	}
}

// spanID tells spans apart, of all buckets, and from keys.
func spanID(bucket string, span engine.Span) string {
	return fmt.Sprintf("%s\x00%q\x00%q %t", bucket, span.From, span.To, span.To == nil)
}

// upwards asks for a page of a span.
func upwards(bucket string, span engine.Span, limit int) (sql string, args []any) {
	if span.From == nil {
		span.From = []byte{} // nil would be NULL
	}
	if span.To == nil {
		return selectFrom, []any{[]byte(bucket), span.From, limit}
	}
	return selectSpan, []any{[]byte(bucket), span.From, span.To, limit}
}

func (t *tx) knows(bucket string, key, value []byte) {
	if t.known[bucket] == nil {
		t.known[bucket] = map[string][]byte{}
	}
	t.known[bucket][string(key)] = value
}

// forgets has a key that is written asked for again.
func (t *tx) forgets(bucket string, key []byte) { delete(t.known[bucket], string(key)) }

// row is a key with its value.
type row struct{ key, value []byte }

// A range comes in pages that grow: most readers want a few keys or all.
const (
	firstPage = 64
	lastPage  = 512
)

// mostKnown bounds what is remembered of a bucket, in keys, but for those that were
// asked for last.
const mostKnown = 4096

// pages yields what ask gives for each limit, and for the key that the page
// before ended with.
func (t *tx) pages(bucket string, ask func(last []byte, limit int) []row) iter.Seq2[[]byte, []byte] {
	return func(yield func(k, v []byte) bool) {
		var last []byte
		for limit := firstPage; ; limit = min(4*limit, lastPage) {
			page := ask(last, limit)
			t.head(bucket)
			for _, r := range page {
				if !yield(r.key, r.value) {
					return
				}
			}
			if len(page) < limit {
				return
			}
			last = page[len(page)-1].key
		}
	}
}

// queueRows asks for some rows, which take gets with the next flush.
func (t *tx) queueRows(take func([]row), sql string, args ...any) {
	t.waiting.Queue(sql, args...).Query(func(rows pgx.Rows) error {
		var page []row
		for rows.Next() {
			var r row
			if err := rows.Scan(&r.key, &r.value); err != nil {
				return err
			}
			page = append(page, r)
		}
		take(page)
		return rows.Err()
	})
}

// rows asks for some rows.
func (t *tx) rows(sql string, args ...any) (page []row) {
	t.queueRows(func(rows []row) { page = rows }, sql, args...)
	must(t.flush())
	return page
}

// Ascend yields the keys of the span in order.
func (t *tx) Ascend(bucket string, span engine.Span) iter.Seq2[[]byte, []byte] {
	id := spanID(bucket, span)
	return t.pages(bucket, func(last []byte, limit int) []row {
		if last == nil && t.asked[id] {
			must(t.flush())
		}
		if page, known := t.begun[id]; last == nil && known {
			return page
		}
		from := span.From
		if last != nil {
			from = engine.After(last).From
		}
		sql, args := upwards(bucket, engine.Span{From: from, To: span.To}, limit)
		return t.rows(sql, args...)
	})
}

// Descend yields the keys of the span, the last first.
func (t *tx) Descend(bucket string, span engine.Span) iter.Seq2[[]byte, []byte] {
	return t.pages(bucket, func(last []byte, limit int) []row {
		from, to := span.From, span.To
		if last != nil {
			to = last
		}
		if from == nil {
			from = []byte{}
		}
		if to == nil {
			return t.rows(selectFromBack, []byte(bucket), from, limit)
		}
		return t.rows(selectSpanBack, []byte(bucket), from, to, limit)
	})
}

// Sequence returns the bucket's counter.
func (t *tx) Sequence(bucket string) uint64 { return t.head(bucket) }

// Buckets lists the buckets by name.
func (t *tx) Buckets() []string {
	t.load()
	return slices.Sorted(maps.Keys(t.heads))
}

// Revision is the number of the last transaction that wrote.
func (t *tx) Revision() uint64 {
	t.load()
	return t.mark.revision
}

// queue has a write wait, and sends what waits when it is much.
func (t *tx) queue(size int, sql string, args ...any) {
	const many, much = 256, 1 << 20 // statements, bytes
	t.wrote = true
	t.size += size
	t.waiting.Queue(sql, args...)
	if t.waiting.Len() >= many || t.size >= much {
		must(t.flush())
	}
}

// Put sets the value of a key.
func (t *tx) Put(bucket string, key, value []byte) error {
	t.head(bucket)
	const longest = 1024 // an index of PostgreSQL's takes some 2,700 bytes a row
	if len(key) == 0 || len(key) > longest {
		return fmt.Errorf("bucket %s: a key of %d bytes: 1 to %d are right", bucket, len(key), longest)
	}
	if value == nil {
		value = []byte{}
	}
	t.forgets(bucket, key)
	t.queue(len(key)+len(value), upsert, []byte(bucket), key, value)
	return nil
}

// Delete removes a key.
func (t *tx) Delete(bucket string, key []byte) error {
	t.head(bucket)
	t.forgets(bucket, key)
	t.queue(len(key), remove, []byte(bucket), key)
	return nil
}

// SetSequence sets the bucket's counter.
func (t *tx) SetSequence(bucket string, n uint64) error {
	t.head(bucket)
	t.heads[bucket], t.moved[bucket], t.wrote = n, true, true
	return nil
}

// MakeBucket makes a bucket unless it is there.
func (t *tx) MakeBucket(bucket string) error {
	t.load()
	if bucket == "" {
		return errors.New("a bucket without a name")
	}
	if _, there := t.heads[bucket]; there {
		return nil
	}
	t.heads[bucket], t.moved[bucket], t.wrote = 0, true, true
	return nil
}

// commit writes the counters and the mark and ends the transaction, in one round
// trip with all that waits.
func (t *tx) commit() (stamp, error) {
	for _, bucket := range slices.Sorted(maps.Keys(t.moved)) {
		t.waiting.Queue(upsert, none(), []byte(bucket), binary.BigEndian.AppendUint64(nil, t.heads[bucket]))
	}
	now := stamp{t.mark.revision + 1, rand.Uint64()}
	next := t.mark
	next.revision, next.tokens[now.slot()] = now.revision, now.token
	t.waiting.Queue(upsert, none(), none(), next.bytes())
	t.waiting.Queue("COMMIT").Exec(func(tag pgconn.CommandTag) error {
		if tag.String() != "COMMIT" {
			return fmt.Errorf("the server answered %s to COMMIT", tag)
		}
		return nil
	})
	return now, t.flush()
}

// giveUp ends a transaction that was begun and neither committed nor lost.
func (t *tx) giveUp() {
	conn := t.conn.Conn().PgConn()
	if conn.IsClosed() || conn.TxStatus() == 'I' {
		return
	}
	ctx, done := context.WithTimeout(context.Background(), t.answer)
	defer done()
	_ = conn.Exec(ctx, "ROLLBACK").Close() // where this fails too, the connection is closed
}
