// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"encoding/json"
	"io"
	"net/http"
	"reflect"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// request is what the document says about one thing that a call reads.
type request struct {
	query []queryParameter
	body  func(schemaSet) object // its content; nil where it is not in the body
}

// input is one thing that a call reads from a request.
type input[T any] struct {
	request
	read func(*http.Request) (T, error)
}

// tagInPath is the loop's tag in the path, idInPath a record's number.
func tagInPath() input[loops.Tag]     { return input[loops.Tag]{read: tagOf} }
func idInPath[ID ~uint64]() input[ID] { return input[ID]{read: idOf[ID]} }
func wordInPath[T ~string](name string) input[T] {
	return input[T]{read: func(r *http.Request) (T, error) { return T(r.PathValue(name)), nil }}
}

// nothing is read.
func nothing() input[struct{}] {
	return input[struct{}]{read: func(*http.Request) (struct{}, error) { return struct{}{}, nil }}
}

// body is JSON of a Go type.
func body[T any]() input[T] {
	return input[T]{read: decode[T], request: request{body: func(s schemaSet) object {
		return jsonContent(s.of(reflect.TypeFor[T](), taken))
	}}}
}

// bytesOf is a body of a media type, which no schema describes.
func bytesOf(media string) input[io.Reader] {
	return input[io.Reader]{
		read:    func(r *http.Request) (io.Reader, error) { return r.Body, nil },
		request: request{body: func(schemaSet) object { return object{media: object{}} }},
	}
}

// act is what is said of an act, as JSON by its fields.
func act(d acts.Definition) input[acts.Act] {
	return input[acts.Act]{request: request{body: func(schemaSet) object { return jsonContent(actSchema(d)) }}, read: func(r *http.Request) (acts.Act, error) {
		keys, err := decode[map[string]json.RawMessage](r)
		if err != nil {
			return nil, err
		}
		said, err := acts.ReadJSON(d.Fields, keys)
		if err != nil {
			return nil, err
		}
		if key := r.Header.Get(keyHeader); key != "" {
			said["key"] = []string{key}
		}
		return d.Read(said)
	}}
}

// queryParameter is a part of the address behind the question mark, as the
// document tells it.
type queryParameter struct {
	name, about string
	schema      object
	required    bool
}

// parameter is one that is read into a part of a T.
type parameter[T any] struct {
	queryParameter
	take func(*params, *T)
}

// word is a kind of text in a query.
type word[V any] struct {
	schema object
	parse  func(string) (V, error)
}

func anyWord() word[string] { return word[string]{object{"type": "string"}, asText} }
func dayWord() word[loops.Day] {
	return word[loops.Day]{object{"type": "string", "format": "date"}, loops.ParseDay}
}
func numberWord[ID ~uint64]() word[ID] {
	return word[ID]{object{"type": "integer", "minimum": 1}, numberOf[ID]}
}
func yesNo() word[bool]     { return word[bool]{object{"type": "boolean"}, yesOrNo} }
func mayYesNo() word[*bool] { return word[*bool]{object{"type": "boolean"}, mayYesOrNo} }

// oneWord is one of some words, spelt as parse reads them.
func oneWord[V ~string](of []V, parse func(string) (V, error)) word[V] {
	return word[V]{object{"type": "string", "enum": of}, parse}
}

func choiceWord[V ~string](of []V) word[V] { return oneWord(of, oneOf(of)) }

// filter is a parameter that sets one field of what is asked for.
func filter[T, V any](name, about string, w word[V], at func(*T) *V) parameter[T] {
	return parameter[T]{queryParameter{name: name, about: about, schema: w.schema}, func(p *params, to *T) { take(p, name, at(to), w.parse) }}
}

// query is all that is asked for behind the question mark.
func query[T any](all ...parameter[T]) input[T] {
	in := input[T]{read: func(r *http.Request) (to T, err error) {
		p := paramsOf(r)
		for _, one := range all {
			one.take(p, &to)
		}
		return to, p.err()
	}}
	for _, one := range all {
		in.query = append(in.query, one.queryParameter)
	}
	return in
}

// may is one parameter, which need not be given.
func may[V any](name, about string, w word[V]) input[V] {
	return query(filter(name, about, w, func(v *V) *V { return v }))
}

// must is one parameter; where it is not given it is read as empty.
func must[V any](name, about string, w word[V]) input[V] {
	in := may(name, about, w)
	in.query[0].required = true
	given := in.read
	in.read = func(r *http.Request) (V, error) {
		if r.URL.Query().Get(name) == "" {
			return w.parse("")
		}
		return given(r)
	}
	return in
}
