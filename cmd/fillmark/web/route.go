// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"io"
	"iter"
	"net/http"
	"reflect"

	"fillmark/cmd/fillmark/workshop"
)

// route is one address. The mux, who gets in and the OpenAPI document are made
// from the list of routes.
type route struct {
	pattern string
	who     access
	// summary says in the document what a call does; a route without one is not
	// in it.
	summary string
	call
}

// access says whom a route lets in.
type access string

// Whom routes let in.
const (
	technicians access = ""          // who is signed in
	anybody     access = "anybody"   // a page for owners looks at the secret in its path itself
	collector   access = "collector" // this computer's own collector of figures, or who is signed in
	ownComputer access = "own"       // commands on this computer, over the Unix socket
)

// call is how a route is answered, by one of three functions, with what the
// document says about it.
type call struct {
	page   func(http.ResponseWriter, *http.Request) error
	answer func(*http.Request) (any, error)
	write  func(*http.Request, io.Writer) error

	takes []request
	gives reflect.Type // of the JSON that answer gives
	media string       // of the bytes that write writes
}

// handler serves a route.
func (s *server) handler(c call) http.Handler {
	switch {
	case c.page != nil:
		return s.page(c.page)
	case c.write != nil:
		return s.stream(c)
	}
	return s.api(c)
}

// page is a route that writes its page, or what else it answers with.
func page(pattern string, who access, write func(http.ResponseWriter, *http.Request) error) route {
	return route{pattern: pattern, who: who, call: call{page: write}}
}

// answers is a call that needs nothing but the request.
func answers[Out any](handle func(*http.Request) (Out, error)) call {
	return call{gives: reflect.TypeFor[Out](), answer: func(r *http.Request) (any, error) { return handle(r) }}
}

// asks is a call that reads one thing from the request.
func asks[A, Out any](a input[A], handle func(*http.Request, A) (Out, error)) call {
	c := answers(func(r *http.Request) (out Out, err error) {
		in, err := a.read(r)
		if err != nil {
			return out, err
		}
		return handle(r, in)
	})
	c.takes = []request{a.request}
	return c
}

// asks2 is a call that reads two things, in their order.
func asks2[A, B, Out any](a input[A], b input[B], handle func(*http.Request, A, B) (Out, error)) call {
	c := asks(a, func(r *http.Request, first A) (out Out, err error) {
		second, err := b.read(r)
		if err != nil {
			return out, err
		}
		return handle(r, first, second)
	})
	c.takes = append(c.takes, b.request)
	return c
}

// reads is a call that looks something up.
func reads[A, Out any](a input[A], of func(A) (Out, error)) call {
	return asks(a, func(_ *http.Request, in A) (Out, error) { return of(in) })
}

// lists is a call for a list.
func lists[T any](all func() ([]T, error)) call {
	return answers(func(*http.Request) (list[T], error) { return itemsOf(all()) })
}

// finds is a call for a list of what was asked for.
func finds[A, T any](a input[A], of func(A) ([]T, error)) call {
	return reads(a, func(in A) (list[T], error) { return itemsOf(of(in)) })
}

// writes is a call that puts something on record.
func writes[A, Out any](s *server, a input[A], do func(workshop.Stamp, A) (Out, error)) call {
	return asks(a, func(r *http.Request, in A) (Out, error) { return do(s.stamp(r), in) })
}

// writes2 is a call that puts something on record about a record.
func writes2[A, B, Out any](s *server, a input[A], b input[B], do func(workshop.Stamp, A, B) (Out, error)) call {
	return asks2(a, b, func(r *http.Request, about A, in B) (Out, error) { return do(s.stamp(r), about, in) })
}

// sends is a call that answers with bytes of a media type.
func sends[A any](media string, a input[A], write func(*http.Request, A, io.Writer) error) call {
	return call{media: media, takes: []request{a.request}, write: func(r *http.Request, out io.Writer) error {
		in, err := a.read(r)
		if err != nil {
			return err
		}
		return write(r, in, out)
	}}
}

// all is a call for every record of a kind.
func all[T any](s *server, of func(reader) iter.Seq2[T, error]) call {
	return answers(func(*http.Request) (list[T], error) { return gather(of(s.Reader)) })
}
