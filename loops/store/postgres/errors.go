// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres

import (
	"errors"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"

	"fillmark/loops"
)

// fault is an error of the server or of the way to it, not of what was asked.
type fault struct{ cause error }

func (f fault) Error() string { return f.cause.Error() }
func (f fault) Unwrap() error { return f.cause }

// final is an error after which nothing is tried again.
type final struct{ cause error }

func (f final) Error() string { return f.cause.Error() }
func (f final) Unwrap() error { return f.cause }

// code is the server's five letters for an error (PostgreSQL, appendix A), empty
// where it was not the server that spoke.
func code(err error) string {
	if said := (*pgconn.PgError)(nil); errors.As(err, &said) {
		return said.Code
	}
	return ""
}

// away tells that the server could not be asked, or has gone.
func away(err error) bool {
	f := fault{}
	if !errors.As(err, &f) || errors.Is(err, loops.ErrDamaged) || errors.Is(err, loops.ErrForeign) || errors.Is(err, loops.ErrNewer) {
		return false
	}
	switch c := code(err); c {
	case "", // no answer
		"57P01", "57P02", "57P03", // it was shut down, crashed, starts
		"53300", // it has too many clients
		"25P03": // we were idle too long
		return true
	default:
		return strings.HasPrefix(c, "08")
	}
}

// again tells that the same may go well the next time: the way to the server is
// lost, or what met could not be put in an order.
func again(err error) bool {
	if f := (final{}); err == nil || errors.As(err, &f) {
		return false
	}
	switch code(err) {
	case "40001", "40P01", "40003", // serialisation, deadlock, outcome unknown
		"23505", "42P07", "42710": // two that make the table at once
		return true
	}
	return away(err)
}

// certain tells that a commit that gave the error did not take place: the server
// says so and goes on.
func certain(err error) bool {
	said := (*pgconn.PgError)(nil)
	return errors.As(err, &said) && said.SeverityUnlocalized == "ERROR" && said.Code != "40003"
}

// named makes an error match what callers know.
func named(err error) error {
	var known error
	switch c := code(err); {
	case err == nil:
		return nil
	case c == "53100":
		known = loops.ErrFull
	case c == "25006":
		known = loops.ErrReadOnly
	case c == "42P01", c == "42703":
		known = loops.ErrForeign
	case c == "XX001", c == "XX002":
		known = loops.ErrDamaged
	case away(err):
		known = loops.ErrAway
	}
	if known == nil || errors.Is(err, known) {
		return err
	}
	return fmt.Errorf("%w (%w)", known, err)
}
