// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"reflect"
	"regexp"
	"strings"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// operation says what one route of the JSON API takes and gives. The document
// is made from these and from the Go types, so that it cannot say anything else
// than the program does.
type operation struct {
	pattern string
	summary string
	in, out any // zero values; in is nil where there is no body
	query   []queryParameter
}

// queryParameter is a part of the address behind the question mark.
type queryParameter struct {
	name, about string
	required    bool
}

// operations lists the JSON API. A test compares it with the routes.
func operations() []operation {
	return []operation{
		{pattern: "GET /api/v1/owners", summary: "List the owners", out: list[loops.Owner]{}},
		{pattern: "POST /api/v1/owners", summary: "Put an owner on record", in: loops.Owner{}, out: loops.Owner{}},
		{pattern: "GET /api/v1/machines", summary: "List the machines", out: list[loops.Machine]{}},
		{pattern: "POST /api/v1/machines", summary: "Put a machine on record", in: loops.Machine{}, out: loops.Machine{}},
		{pattern: "GET /api/v1/loops", summary: "List the loops", out: list[loops.Loop]{}},
		{pattern: "POST /api/v1/loops", summary: "Put a loop on record", in: loops.Loop{}, out: loops.Loop{}},
		{pattern: "GET /api/v1/loops/{tag}", summary: "One loop with all that is known of it", out: workshop.File{}},
		{pattern: "POST /api/v1/loops/{tag}/entries", summary: "Record an entry in a loop's history", in: loops.Entry{}, out: workshop.Recorded{}},
		{pattern: "POST /api/v1/topup", summary: "Check a top-up", in: workshop.TopUpQuestion{}, out: workshop.TopUpAnswer{}},
		{pattern: "GET /api/v1/due", summary: "What the workshop has before it", out: DueAnswer{}},
		{pattern: "POST /api/v1/sweep", summary: "Compose and deliver what is due", out: SweepAnswer{}},
		{pattern: "GET /api/v1/outbox", summary: "List the messages", out: list[loops.Message]{}},
		{pattern: "GET /api/v1/outbox/message", summary: "One message as it was written", out: loops.Message{},
			query: []queryParameter{{"key", "the message's key", true}}},
		{pattern: "GET /api/v1/technicians", summary: "List who may sign in", out: list[loops.Technician]{}},
		{pattern: "POST /api/v1/technicians", summary: "Let a technician sign in (only over the Unix socket)", in: NewTechnician{}, out: loops.Technician{}},
		{pattern: "POST /api/v1/technicians/{name}/password", summary: "Set a technician's password (only over the Unix socket)", in: NewPassword{}, out: loops.Technician{}},
		{pattern: "POST /api/v1/technicians/{name}/link", summary: "A link that sets a technician's password once (only over the Unix socket)", out: PasswordLink{}},
		{pattern: "DELETE /api/v1/technicians/{name}", summary: "Let a technician sign in no longer (only over the Unix socket)", out: struct{}{}},
	}
}

// object is a JSON object in the making.
type object = map[string]any

// openAPI serves the document.
func (s *server) openAPI(w http.ResponseWriter, r *http.Request) error {
	s.writeJSON(w, r, http.StatusOK, openAPIDocument())
	return nil
}

// openAPIDocument describes the JSON API in OpenAPI 3.1.
func openAPIDocument() object {
	schemas := schemaSet{}
	failure := object{"description": "What went wrong, by field where it can be told", "content": jsonContent(schemas.of(reflect.TypeFor[Failure](), given))}
	paths := object{}
	for _, op := range operations() {
		method, path, _ := strings.Cut(op.pattern, " ")
		item, ok := paths[path].(object)
		if !ok {
			item = object{}
			paths[path] = item
		}
		item[strings.ToLower(method)] = op.describe(schemas, failure)
	}
	return object{
		"openapi": "3.1.0",
		"info": object{
			"title": "Fillmark", "version": "1", "license": object{"name": "Apache-2.0", "identifier": "Apache-2.0"},
			"description": "Every fraction is a mass fraction from 0 to 1; units stand in the names; instants are RFC 3339 in UTC, days are civil days.",
		},
		"servers":  []object{{"url": "/"}},
		"paths":    paths,
		"security": []object{{"signIn": []string{}}},
		"components": object{
			"schemas":         map[string]object(schemas),
			"securitySchemes": object{"signIn": object{"type": "apiKey", "in": "cookie", "name": "fillmark", "description": "The cookie of a sign-in, named __Host-fillmark with https. Not needed over the Unix socket."}},
		},
	}
}

func (op operation) describe(schemas schemaSet, failure object) object {
	described := object{
		"operationId": operationID(op.pattern), "summary": op.summary,
		"responses": object{
			"200":     object{"description": "Done", "content": jsonContent(schemas.of(reflect.TypeOf(op.out), given))},
			"default": failure,
		},
	}
	var parameters []object
	for _, name := range regexp.MustCompile(`\{(\w+)\}`).FindAllStringSubmatch(op.pattern, -1) {
		parameters = append(parameters, object{"name": name[1], "in": "path", "required": true, "schema": object{"type": "string"}})
	}
	for _, q := range op.query {
		parameters = append(parameters, object{"name": q.name, "in": "query", "description": q.about, "required": q.required, "schema": object{"type": "string"}})
	}
	if parameters != nil {
		described["parameters"] = parameters
	}
	if op.in != nil {
		described["requestBody"] = object{"required": true, "content": jsonContent(schemas.of(reflect.TypeOf(op.in), taken))}
	}
	return described
}

// operationID makes a name of a pattern: "getLoopsTag".
func operationID(pattern string) string {
	method, path, _ := strings.Cut(pattern, " /api/v1/")
	var id strings.Builder
	id.WriteString(strings.ToLower(method))
	for _, part := range regexp.MustCompile(`\w+`).FindAllString(path, -1) {
		id.WriteString(strings.ToUpper(part[:1]) + part[1:])
	}
	return id.String()
}

func jsonContent(schema object) object { return object{"application/json": object{"schema": schema}} }
