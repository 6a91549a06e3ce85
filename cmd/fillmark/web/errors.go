// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/signin"
	"fillmark/loops"
	"fillmark/notify/links"
)

// Problem is one thing that is wrong with a request, by field.
type Problem struct {
	Field string `json:"field"`
	Value string `json:"value"`
	Right string `json:"right"` // what would be right
}

// Failure is the body of every JSON answer that is not a success.
type Failure struct {
	Kind     FailureKind `json:"kind"`
	Message  string      `json:"message"`
	Problems []Problem   `json:"problems,omitempty"`
	// Reasons and Ways are set where an act was stopped: what speaks against it,
	// and how to go on.
	Reasons []chemistry.Reason `json:"reasons,omitempty"`
	Ways    []string           `json:"ways,omitempty"`
	// Range is set where a value lies outside a published table.
	Range *chemistry.RangeError `json:"range,omitempty"`
}

// FailureKind tells a program what went wrong.
type FailureKind string

// The kinds of failure.
const (
	FailInvalid  FailureKind = "invalid"
	FailRange    FailureKind = "outside a table"
	FailNotFound FailureKind = "not found"
	FailConflict FailureKind = "conflict"
	FailRepeated FailureKind = "repeated" // it is on record already
	FailStop     FailureKind = "stop"     // the verdict on an act
	FailSignIn   FailureKind = "sign-in"  // nobody is signed in
	FailRefused  FailureKind = "refused"  // not for whoever asks
	FailBusy     FailureKind = "too many" // later; Retry-After says when
	FailAway     FailureKind = "away"     // the register's database; Retry-After says when
	// FailUnsettled is FailAway where nobody knows whether the write was kept.
	FailUnsettled FailureKind = "not known"
	FailInternal  FailureKind = "internal"
)

// wayBack ends what a command says of a register that is gone.
const wayBack = "; fillmark backup --to FOLDER writes what it still holds, then stop it and restore that"

// failureOf maps an error to its status and body: the only place that does.
func failureOf(err error) (int, Failure) {
	var (
		rng     *chemistry.RangeError
		tooLong *http.MaxBytesError
		busy    *busyError
	)
	var stop *acts.StopError
	if len(problemsOf(err)) > 0 {
		err = loops.Bounded(err)
	}
	problems := problemsOf(err)
	switch {
	case errors.As(err, &stop):
		return http.StatusConflict, Failure{Kind: FailStop, Message: stop.Act, Reasons: stop.Reasons, Ways: stop.Ways}
	case errors.As(err, &rng):
		return http.StatusUnprocessableEntity, Failure{Kind: FailRange, Message: err.Error(), Range: rng}
	case len(problems) > 0:
		return http.StatusUnprocessableEntity, Failure{Kind: FailInvalid, Message: err.Error(), Problems: problems}
	case errors.As(err, &tooLong):
		return http.StatusRequestEntityTooLarge, Failure{Kind: FailInvalid, Message: "the request is too long"}
	case errors.Is(err, errSignIn):
		return http.StatusUnauthorized, Failure{Kind: FailSignIn, Message: err.Error()}
	case errors.Is(err, errLocal), errors.Is(err, errDirect), errors.Is(err, errProxy), errors.Is(err, errSite), errors.Is(err, signin.ErrRefused):
		return http.StatusForbidden, Failure{Kind: FailRefused, Message: err.Error()}
	case errors.As(err, &busy):
		return http.StatusTooManyRequests, Failure{Kind: FailBusy, Message: busy.Error()}
	case errors.Is(err, loops.ErrNotFound), errors.Is(err, links.ErrInvalid), errors.Is(err, signin.ErrLink):
		return http.StatusNotFound, Failure{Kind: FailNotFound, Message: plainly(err)}
	case errors.Is(err, loops.ErrRepeated):
		return http.StatusConflict, Failure{Kind: FailRepeated, Message: plainly(err)}
	case errors.Is(err, loops.ErrConflict):
		return http.StatusConflict, Failure{Kind: FailConflict, Message: plainly(err)}
	case errors.Is(err, loops.ErrUnsettled):
		return http.StatusServiceUnavailable, Failure{Kind: FailUnsettled, Message: loops.ErrUnsettled.Error()}
	case errors.Is(err, loops.ErrAway):
		return http.StatusServiceUnavailable, Failure{Kind: FailAway, Message: loops.ErrAway.Error()}
	case errors.Is(err, loops.ErrFull):
		return http.StatusInternalServerError, Failure{Kind: FailInternal, Message: loops.ErrFull.Error()}
	case errors.Is(err, loops.ErrReadOnly):
		return http.StatusInternalServerError, Failure{Kind: FailInternal, Message: loops.ErrReadOnly.Error()}
	case errors.Is(err, loops.ErrGone):
		return http.StatusInternalServerError, Failure{Kind: FailInternal, Message: loops.ErrGone.Error() + wayBack}
	default:
		return http.StatusInternalServerError, Failure{Kind: FailInternal, Message: "something went wrong here; the log says what"}
	}
}

// plainly is what went wrong without the name of the package that noticed it,
// which is for the log.
func plainly(err error) string { return strings.TrimPrefix(err.Error(), "store: ") }

// awayFor is after how many seconds a database that does not answer is worth
// another try.
const awayFor = 10

// setRetryAfter tells those who are held back when to come again.
func setRetryAfter(w http.ResponseWriter, err error) {
	var busy *busyError
	switch {
	case errors.As(err, &busy):
		w.Header().Set("Retry-After", strconv.Itoa(busy.seconds()))
	case errors.Is(err, loops.ErrAway):
		w.Header().Set("Retry-After", strconv.Itoa(awayFor))
	}
}

// problemsOf collects the invalid fields of a possibly joined error.
func problemsOf(err error) []Problem {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []Problem
		for _, e := range joined.Unwrap() {
			all = append(all, problemsOf(e)...)
		}
		return all
	}
	if invalid, ok := err.(*loops.InvalidError); ok {
		return []Problem{{invalid.Field, invalid.Value, invalid.Reason}}
	}
	if inner := errors.Unwrap(err); inner != nil {
		return problemsOf(inner)
	}
	return nil
}

// Err turns the body back into the error that caused it, so that a command
// exits alike whether the daemon or its own process ran the action.
func (f Failure) Err() error {
	switch f.Kind {
	case FailRange:
		if f.Range != nil {
			return f.Range
		}
	case FailInvalid:
		var all []error
		for _, p := range f.Problems {
			all = append(all, &loops.InvalidError{Field: p.Field, Value: p.Value, Reason: p.Right})
		}
		if len(all) > 0 {
			return errors.Join(all...)
		}
	case FailStop:
		return &acts.StopError{Act: f.Message, Reasons: f.Reasons, Ways: f.Ways}
	case FailNotFound:
		return &remoteError{f.Message, loops.ErrNotFound}
	case FailRepeated:
		return &remoteError{f.Message, loops.ErrRepeated}
	case FailConflict:
		return &remoteError{f.Message, loops.ErrConflict}
	case FailAway:
		return &remoteError{f.Message, loops.ErrAway}
	case FailUnsettled:
		return &remoteError{f.Message, loops.ErrUnsettled}
	}
	return errors.New(f.Message)
}

// remoteError keeps the words of the other side and what it matches.
type remoteError struct {
	message string
	is      error
}

func (e *remoteError) Error() string { return e.message }
func (e *remoteError) Unwrap() error { return e.is }
