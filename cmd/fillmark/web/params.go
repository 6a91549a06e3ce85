// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// known refuses a request with a parameter that the call does not take: whoever
// mistypes a filter must not be given everything.
func (c call) known(r *http.Request) error {
	var known []string
	for _, takes := range c.takes {
		for _, q := range takes.query {
			known = append(known, q.name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(r.URL.Query())) {
		if !slices.Contains(known, name) {
			reason := "this address takes no parameters"
			if len(known) > 0 {
				reason = "one of: " + strings.Join(known, ", ")
			}
			return &loops.InvalidError{Field: "parameter", Value: name, Reason: reason}
		}
	}
	return nil
}

// params reads a request's query strictly: every parameter is given once and
// can be read.
type params struct {
	query    url.Values
	problems []error
}

func paramsOf(r *http.Request) *params { return &params{query: r.URL.Query()} }

// take parses the parameter where it is given and not empty.
func take[T any](p *params, name string, target *T, parse func(string) (T, error)) {
	given, there := p.query[name]
	if !there || given[0] == "" && len(given) == 1 {
		return
	}
	if len(given) > 1 {
		p.problems = append(p.problems, &loops.InvalidError{Field: name, Value: strings.Join(given, ", "), Reason: "one value"})
		return
	}
	value, err := parse(given[0])
	if err != nil {
		var invalid *loops.InvalidError
		if errors.As(err, &invalid) {
			err = &loops.InvalidError{Field: name, Value: given[0], Reason: invalid.Reason}
		}
		p.problems = append(p.problems, err)
		return
	}
	*target = value
}

// err returns all that is wrong.
func (p *params) err() error { return errors.Join(p.problems...) }

// oneOf parses one of the values of a string type.
func oneOf[T ~string](allowed []T) func(string) (T, error) {
	return func(text string) (T, error) {
		if i := slices.Index(allowed, T(text)); i >= 0 {
			return allowed[i], nil
		}
		return "", &loops.InvalidError{Value: text, Reason: "one of: " + acts.Listed(allowed)}
	}
}

func asText(text string) (string, error) { return text, nil }

func yesOrNo(text string) (bool, error) {
	v, err := strconv.ParseBool(text)
	if err != nil {
		return false, &loops.InvalidError{Value: text, Reason: "true or false"}
	}
	return v, nil
}

func mayYesOrNo(text string) (*bool, error) {
	v, err := yesOrNo(text)
	return &v, err
}

// numberOf parses a record's number.
func numberOf[ID ~uint64](text string) (ID, error) {
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n == 0 {
		return 0, &loops.InvalidError{Field: "number", Value: text, Reason: "a number as the register gave it, such as 3"}
	}
	return ID(n), nil
}

// idOf reads the record's number in the path.
func idOf[ID ~uint64](r *http.Request) (ID, error) { return numberOf[ID](r.PathValue("id")) }
