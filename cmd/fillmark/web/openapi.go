// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"reflect"
	"regexp"
	"strings"

	"fillmark/cmd/fillmark/workshop"
)

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
			"200":     object{"description": "Done", "content": content(schemas, op.out, op.outType, given)},
			"default": failure,
		},
	}
	var parameters []object
	for _, name := range regexp.MustCompile(`\{(\w+)\}`).FindAllStringSubmatch(op.pattern, -1) {
		parameters = append(parameters, object{"name": name[1], "in": "path", "required": true, "schema": pathSchema(name[1])})
	}
	for _, q := range op.query {
		parameters = append(parameters, object{"name": q.name, "in": "query", "description": q.about, "required": q.required, "schema": q.schema})
	}
	if parameters != nil {
		described["parameters"] = parameters
	}
	if op.body != nil {
		described["requestBody"] = object{"required": true, "content": jsonContent(op.body)}
	}
	if op.in != nil || op.inType != "" {
		described["requestBody"] = object{"required": true, "content": content(schemas, op.in, op.inType, taken)}
	}
	return described
}

// content describes a body: JSON of the value's type or, where a media type is
// named, bytes of that type, which no schema describes.
func content(schemas schemaSet, value any, mediaType string, d direction) object {
	if mediaType != "" {
		return object{mediaType: object{}}
	}
	return jsonContent(schemas.of(reflect.TypeOf(value), d))
}

// pathSchema describes a part of the path by its name.
func pathSchema(name string) object {
	switch name {
	case "id":
		return object{"type": "integer", "minimum": 1}
	case "table":
		return object{"type": "string", "enum": workshop.TableNames()}
	}
	return object{"type": "string"}
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
