// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/daemon"
	"fillmark/loops"
)

// Exit codes, listed in the manual; see exitCode.
const (
	exitDone     = 0
	exitFailed   = 1
	exitUsage    = 2 // wrong usage or an impossible value
	exitStop     = 3 // the verdict is stop
	exitInUse    = 4 // another process holds the store
	exitRange    = 5 // outside a published table
	exitNotFound = 6
)

// errStop is returned by a command that printed its answer, a stop verdict.
var errStop = errors.New("the verdict is stop")

// usageError is a command line that makes no sense.
type usageError struct{ err error }

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// exitCode maps an error to the exit code, in one place for every command.
func exitCode(err error) int {
	var (
		usage   *usageError
		setting *daemon.SettingError
		invalid *chemistry.InvalidError
		rng     *chemistry.RangeError
	)
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errStop):
		return exitStop
	case errors.Is(err, loops.ErrInUse):
		return exitInUse
	case errors.As(err, &rng):
		return exitRange
	case errors.Is(err, loops.ErrNotFound):
		return exitNotFound
	case errors.As(err, &usage), errors.As(err, &setting), errors.As(err, &invalid):
		return exitUsage
	default:
		return exitFailed
	}
}

// hintFor says what to do about errors that people can act on.
func (a *app) hintFor(err error) string {
	if c, failed := a.config(); failed == nil && c.InDatabase() {
		switch {
		case errors.Is(err, loops.ErrForeign):
			return "another program's table has the name of ours: name another database in store:"
		case errors.Is(err, loops.ErrDamaged):
			return "bring the database's newest backup back with its own tools, as doc/operations.md says"
		}
	}
	switch {
	case errors.Is(err, loops.ErrInUse):
		return "a running fillmark holds the register; stop it, or let it answer on its socket beside the register"
	case errors.Is(err, errPhotos):
		return "copy HASH.jpg and HASH-small.jpg from the folder photos of a backup or of an export into the folder photos beside the register"
	case errors.Is(err, loops.ErrUnsettled):
		return "once the database answers, look whether it is on record (fillmark loop show TAG --history) before you do it again"
	case errors.Is(err, loops.ErrAway):
		return "look whether the database runs and can be reached from here, then do it again; the daemon goes on by itself once it answers"
	case errors.Is(err, loops.ErrDamaged):
		return "the way back: stop fillmark serve, move the register and the folders keys and photos beside it aside, and put the newest backup there with fillmark restore FOLDER"
	case errors.Is(err, loops.ErrForeign):
		return "name the register with --store, or move that file aside and put the newest backup there with fillmark restore FOLDER"
	case errors.Is(err, loops.ErrRepeated):
		return "fillmark loop show TAG --history shows what is on record"
	case errors.Is(err, loops.ErrConflict):
		return "somebody else wrote to this record; look at it again and repeat"
	}
	return ""
}
