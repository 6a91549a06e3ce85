// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"mime"
	"net/http"
	"strings"
	"unicode/utf8"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// api serves a call that answers with JSON or an error.
func (s *server) api(c call) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := c.known(r); err != nil {
			s.writeFailure(w, r, err)
			return
		}
		value, err := c.answer(r)
		if err != nil {
			s.writeFailure(w, r, err)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			s.Wake()
		}
		s.writeJSON(w, r, http.StatusOK, value)
	})
}

// writeFailure answers with the body of an error and logs what nobody foresaw.
func (s *server) writeFailure(w http.ResponseWriter, r *http.Request, err error) {
	status, failure := s.failure(r, err)
	setRetryAfter(w, err)
	s.writeJSON(w, r, status, failure)
}

func (s *server) writeJSON(w http.ResponseWriter, r *http.Request, status int, value any) {
	var body bytes.Buffer
	encoder := json.NewEncoder(&body)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(value); err != nil {
		s.Log.Error("answer cannot be encoded", "pattern", r.Pattern, "error", err)
		http.Error(w, "internal error", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(body.Bytes())
}

// failure is the status and the body of an answer that is none. What went
// wrong inside goes to the log, and to a command on this computer, whose user
// can act on it.
func (s *server) failure(r *http.Request, err error) (int, Failure) {
	status, failure := failureOf(err)
	if status >= http.StatusInternalServerError {
		s.Log.Error("request failed", "pattern", r.Pattern, "error", err)
		if isLocal(r) {
			failure.Message = err.Error()
			if errors.Is(err, loops.ErrGone) {
				failure.Message += wayBack
			}
		}
	}
	return status, failure
}

// decode reads a JSON body strictly: one document, no unknown field, no key
// twice.
func decode[T any](r *http.Request) (T, error) {
	var value T
	body, err := jsonBody(r)
	if err != nil {
		return value, err
	}
	decoder := json.NewDecoder(bytes.NewReader(body))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&value); err != nil {
		var invalid *loops.InvalidError
		if errors.As(err, &invalid) {
			return value, err
		}
		if of, ok := errors.AsType[*json.UnmarshalTypeError](err); ok && of.Field == "" {
			return value, noObject(of.Value)
		}
		return value, &loops.InvalidError{Field: "body", Value: err.Error(), Reason: "one JSON document with the fields of this call"}
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return value, &loops.InvalidError{Field: "body", Value: "more than one document", Reason: "one JSON document"}
	}
	if bytes.Equal(bytes.TrimSpace(body), []byte("null")) { // it would pass as one that says nothing
		return value, noObject("null")
	}
	return value, once(json.NewDecoder(bytes.NewReader(body)))
}

func noObject(is string) error {
	return &loops.InvalidError{Field: "body", Value: is, Reason: "one JSON object with the fields of this call"}
}

// once refuses a document in which a key stands twice in one object, in
// whatever case: encoding/json would silently take the last.
func once(d *json.Decoder) error {
	open, err := d.Token()
	if err != nil || open != json.Delim('{') && open != json.Delim('[') {
		return err
	}
	seen := map[string]bool{}
	for d.More() {
		if open == json.Delim('{') {
			key, err := d.Token()
			if err != nil {
				return err
			}
			name := fmt.Sprint(key)
			if seen[strings.ToLower(name)] {
				return &loops.InvalidError{Field: name, Value: "two values", Reason: "one value: the key stands twice"}
			}
			seen[strings.ToLower(name)] = true
		}
		if err := once(d); err != nil {
			return err
		}
	}
	_, err = d.Token() // its end
	return err
}

// jsonBody reads a body of JSON in UTF-8.
func jsonBody(r *http.Request) ([]byte, error) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return nil, &loops.InvalidError{Field: "Content-Type", Value: r.Header.Get("Content-Type"), Reason: "application/json"}
	}
	body, err := io.ReadAll(r.Body) // bounded by limitBodies
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return nil, err
	}
	if err != nil {
		return nil, &loops.InvalidError{Field: "body", Value: err.Error(), Reason: "one JSON document, sent to its end"}
	}
	if !utf8.Valid(body) {
		// encoding/json would put replacement characters into the record.
		return nil, &loops.InvalidError{Field: "body", Value: "bytes that are no UTF-8", Reason: "JSON in UTF-8"}
	}
	return body, nil
}

// tagOf reads the loop's tag in the path.
func tagOf(r *http.Request) (loops.Tag, error) { return loops.ParseTag(r.PathValue("tag")) }

func (s *server) morning(*http.Request) (DueAnswer, error) {
	morning, err := s.Workshop.Morning(s.Now().UTC())
	answer := DueAnswer{Morning: morning, MailReachesOwners: s.MailReachesOwners, Alarms: s.red(), House: s.houseTrouble()}
	for _, a := range answer.Alarms {
		if a.Name == "mail" {
			answer.MailTrouble = a.Reason
		}
	}
	return answer, err
}

// DueAnswer is the technician's list, and whether mail reaches anybody.
type DueAnswer struct {
	workshop.Morning
	MailReachesOwners bool `json:"mail_reaches_owners"`
	// MailTrouble says that no mail leaves, and why; empty while it does.
	MailTrouble string `json:"mail_trouble"`
	// House is what is to be put right in the house, such as a late backup; never
	// nil.
	House []doctor.Line `json:"house"`
	// Alarms are the parts of the program's work that cannot be done.
	Alarms []loops.Alarm `json:"alarms"`
}

// SweepAnswer is what a sweep composed and what the delivery after it did.
type SweepAnswer struct {
	workshop.Swept
	Delivered         int  `json:"delivered"`
	Deferred          int  `json:"deferred"`
	Refused           int  `json:"refused"`
	Expired           int  `json:"expired"`
	Withdrawn         int  `json:"withdrawn"` // not true any more when they were to leave
	MailReachesOwners bool `json:"mail_reaches_owners"`
	// RelayFault says why the relay takes no mail; all of it waits. Empty where
	// it does.
	RelayFault string `json:"relay_fault,omitempty"`
}

func (s *server) sweep(r *http.Request) (answer SweepAnswer, err error) {
	stamp := s.stamp(r)
	if _, err := s.Workshop.Learn(r.Context(), stamp); err != nil {
		return answer, err
	}
	// A letter that cannot be written keeps no other from leaving.
	swept, sweepErr := s.Workshop.Sweep(stamp)
	report, err := s.Deliver(r.Context(), stamp.At)
	if err != nil {
		err = fmt.Errorf("deliver: %w", err)
	}
	if err := errors.Join(sweepErr, err); err != nil {
		return answer, err
	}
	answer = SweepAnswer{
		Swept: swept, Delivered: report.Delivered, Deferred: report.Deferred,
		Refused: report.Refused, Expired: report.Expired, Withdrawn: report.Withdrawn, MailReachesOwners: s.MailReachesOwners,
	}
	if report.RelayFault != nil {
		answer.RelayFault = report.RelayFault.Error()
	}
	return answer, nil
}

// list is a JSON document that holds records and can grow fields.
type list[T any] struct {
	Items []T `json:"items"`
}

// itemsOf makes a list answer.
func itemsOf[T any](items []T, err error) (list[T], error) { return list[T]{Items: items}, err }

// gather reads a sequence to its end or first error.
func gather[T any](records iter.Seq2[T, error]) (list[T], error) {
	all := list[T]{Items: []T{}}
	for record, err := range records {
		if err != nil {
			return list[T]{}, err
		}
		all.Items = append(all.Items, record)
	}
	return all, nil
}
