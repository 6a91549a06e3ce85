// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"errors"
	"fmt"
	"strings"
)

// MostFaults is how many faults of one input are told; what is more is counted.
// Who puts a file right does so column by column, and an answer stays short whatever
// was sent.
const MostFaults = 20

// longestValue is how much of a value is told again, in bytes.
const longestValue = 200

// Faults gathers what is wrong with one input. The zero value has none.
type Faults struct {
	all  []error
	more int
	room int // beyond MostFaults
}

// Add takes a fault, or several that were joined; nil is none. A long value is
// told as far as helps to find it.
func (f *Faults) Add(err error) {
	if err == nil || f.Full(0) {
		if err != nil {
			f.more += len(EachFault(err))
		}
		return
	}
	for _, e := range EachFault(err) {
		f.add(e)
	}
}

func (f *Faults) add(err error) {
	if f.Full(1) {
		return
	}
	if invalid, ok := err.(*InvalidError); ok && (len(invalid.Value) > longestValue || len(invalid.Field) > longestValue) {
		err = &InvalidError{Field: shortened(invalid.Field), Value: shortened(invalid.Value), Reason: invalid.Reason}
	}
	f.all = append(f.all, err)
}

// shortened is the beginning of a text.
func shortened(text string) string {
	if len(text) <= longestValue {
		return text
	}
	return strings.ToValidUTF8(text[:longestValue], "") + "…"
}

// EachFault takes apart errors that were joined; none for nil.
func EachFault(err error) []error {
	joined, ok := err.(interface{ Unwrap() []error })
	switch {
	case err == nil:
		return nil
	case !ok:
		return []error{err}
	}
	var all []error
	for _, e := range joined.Unwrap() {
		all = append(all, EachFault(e)...)
	}
	return all
}

// MapFaults turns each of the errors that were joined into another.
func MapFaults(err error, turn func(error) error) error {
	all := EachFault(err)
	for i, e := range all {
		all[i] = turn(e)
	}
	if len(all) == 1 {
		return all[0]
	}
	return errors.Join(all...)
}

// Full tells that no more faults are told, and counts so many more: their words
// need not be found.
func (f *Faults) Full(more int) bool {
	if len(f.all) < MostFaults+f.room {
		return false
	}
	f.more += more
	return true
}

// Any tells whether anything is wrong.
func (f *Faults) Any() bool { return len(f.all) > 0 }

// Err joins the faults, the last of them the count of those that are not told;
// nil where there is none.
func (f *Faults) Err() error {
	if f.more == 0 {
		return errors.Join(f.all...)
	}
	return errors.Join(append(f.all[:len(f.all):len(f.all)], invalid("faults", fmt.Sprintf("%d more", f.more), fmt.Sprintf("the first %d put right, then the same again", MostFaults)))...)
}

// Bounded returns an error with at most [MostFaults] faults in it and the count
// of the rest; one that Err made stays as it is.
func Bounded(err error) error {
	f := Faults{room: 1} // for the count
	f.Add(err)
	return f.Err()
}
