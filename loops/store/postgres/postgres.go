// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package postgres keeps the store's bytes in one table of a PostgreSQL database,
// for those who need several daemons, failover or more than one disk.
//
// Main type: [Engine], opened with [Open]. Any number of processes may have it open
// at once. One writes at a time: each write transaction locks the same row before
// it reads, so that none ever acts on what another is changing; readers see a
// snapshot and wait for nobody. All of the SQL is what engines that speak
// PostgreSQL's protocol document too: one table of bytes, row locks, upserts, and
// neither advisory locks nor sequences.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

const (
	// answer is how long the server may take for a question: among them the wait
	// for another writer, who is cut off after idleWriter.
	answer = 15 * time.Second
	// patience is how long after a fault the same is tried again, from the last time
	// that the server answered.
	patience = 10 * time.Second
	// onceGone is how long a server that did not answer the last time may take to
	// begin.
	onceGone = 2 * time.Second
	// idleWriter is how long a process may stop in the middle of a write before
	// the server gives it up and lets the others write, as PostgreSQL writes it.
	idleWriter = "10s"
	// idleReader is the same for one that reads, and keeps only old rows waiting.
	idleReader = "5min"
	// connections is how many a process has at most.
	connections = 24
)

// Engine is a table in a database as package engine has it.
type Engine struct {
	pool *pgxpool.Pool
	opts engine.Options

	answer, patience time.Duration
	// gone tells that the last call ended because the server was away: those after
	// it try once, so that a page with many questions is not held for each.
	gone atomic.Bool
}

// Open connects to the database at an address such as postgres://user@host/name and
// makes the table there unless it is there. It returns an error that matches
// [loops.ErrForeign] where the table is none of ours, [loops.ErrReadOnly] where
// it would have to be made on a server that takes no writes, and [loops.ErrAway]
// where the server does not answer for some seconds.
func Open(address string, opts engine.Options) (*Engine, error) {
	config, err := parse(address)
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	if file := PasswordFile(address); file != "" && config.ConnConfig.Password == "" {
		c := config.ConnConfig
		host := c.Host
		if kind, _ := pgconn.NetworkAddress(c.Host, c.Port); kind == "unix" {
			host = "localhost" // by which the file's format names every socket
		}
		return nil, fmt.Errorf("store: passfile %s: it has no line for %s:%d:%s:%s", file, host, c.Port, c.Database, c.User)
	}
	config.MaxConns = connections
	config.ConnConfig.ConnectTimeout = 5 * time.Second
	config.ConnConfig.RuntimeParams["application_name"] = "fillmark"
	config.ConnConfig.RuntimeParams["idle_in_transaction_session_timeout"] = idleReader
	pool, err := pgxpool.NewWithConfig(context.Background(), config)
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	e := &Engine{pool: pool, opts: opts, answer: answer, patience: patience}
	if err := named(e.patiently(e.prepare)); err != nil {
		pool.Close()
		return nil, fmt.Errorf("store: open the database %s at %s: %w", config.ConnConfig.Database, config.ConnConfig.Host, err)
	}
	return e, nil
}

// View runs fn in a read transaction. Where the connection is lost before the first
// answer, fn is run again from its start.
func (e *Engine) View(fn func(engine.Reader) error) error {
	return named(e.patiently(func(ctx context.Context) (bool, error) {
		answered, err := e.transaction(ctx, reading(), func(t *tx) error {
			t.reads = true
			return fn(t)
		})
		if f := (fault{}); answered && errors.As(err, &f) {
			return answered, final{err}
		}
		return answered, err
	}))
}

// Update runs fn in a write transaction, one after the other in all processes. A
// transaction that the server could not serialise, or lost, is run again. An error
// that matches [loops.ErrAway] says that nothing was changed; where the answer to
// a commit was lost and does not come within some seconds it matches
// [loops.ErrUnsettled] too.
func (e *Engine) Update(fn func(engine.Writer) error) error {
	if e.opts.ReadOnly {
		return loops.ErrReadOnly
	}
	var lost *stamp // of a commit whose answer has not come
	err := e.patiently(func(ctx context.Context) (bool, error) {
		return e.transaction(ctx, writing(), func(t *tx) error {
			if lost != nil {
				// Whoever has the lock knows what became of all before.
				kept, err := t.kept(*lost)
				if kept || err != nil {
					return err
				}
				lost = nil
			}
			if err := fn(t); err != nil || !t.wrote {
				return err
			}
			now, err := t.commit()
			if err != nil && !certain(err) {
				lost = &now
			}
			return err
		})
	})
	switch {
	case err != nil && lost != nil:
		return fmt.Errorf("%w (%w)", loops.ErrUnsettled, err)
	case away(err):
		return fmt.Errorf("nothing was changed: %w", named(err))
	}
	return named(err)
}

// Close waits for running transactions and lets go of the connections.
func (e *Engine) Close() error {
	e.pool.Close()
	return nil
}

// transaction runs fn in one that the statements begin, and gives it up unless fn
// has committed it. It tells whether the server has answered in it, for whose first
// answer it waits no longer than ctx lasts.
func (e *Engine) transaction(ctx context.Context, begin []statement, fn func(*tx) error) (answered bool, err error) {
	ctx, done := context.WithTimeout(ctx, e.answer)
	defer done()
	conn, err := e.pool.Acquire(ctx)
	if err != nil {
		return false, fault{err}
	}
	t := newTx(ctx, e.answer, conn, begin)
	defer func() {
		answered = t.answered
		cause := recover()
		end := func() {
			t.giveUp()
			conn.Release() // one that is still in a transaction is closed
		}
		if t.reads {
			go end() // nobody waits for what a reader leaves behind
		} else {
			end()
		}
		switch cause := cause.(type) {
		case nil:
		case fault:
			err = cause
		default:
			panic(cause)
		}
	}()
	return false, fn(t)
}

// patiently tries again as long as the server may answer otherwise: a number of
// times, and not for longer than its patience from the last time that it answered.
func (e *Engine) patiently(try func(context.Context) (answered bool, err error)) (err error) {
	tries, wait := 12, 10*time.Millisecond
	left := context.Background()
	within := func(d time.Duration) (done func()) {
		left, done = context.WithTimeout(context.Background(), d)
		return done
	}
	if e.gone.Load() {
		tries = 1
		defer within(onceGone)()
	}
	defer func() { e.gone.Store(away(err)) }()
	for n := 1; ; n++ {
		answered, err := try(left)
		if n == tries || !again(err) || left.Err() != nil && !answered {
			return err
		}
		if n == 1 || answered {
			defer within(e.patience)() // a few, and no more than tries
		}
		select {
		case <-time.After(wait):
		case <-left.Done():
		}
		wait = min(2*wait, time.Second)
	}
}

// kept tells whether the commit with the stamp took place.
func (t *tx) kept(s stamp) (bool, error) {
	t.load()
	switch behind := t.mark.revision - s.revision; {
	case t.mark.revision < s.revision:
		return false, nil
	case behind >= uint64(len(t.mark.tokens)):
		return false, final{errors.New("it was away for too long to tell")}
	}
	return t.mark.tokens[s.slot()] == s.token, nil
}
