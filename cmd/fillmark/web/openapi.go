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
	s.writeJSON(w, r, http.StatusOK, openAPIDocument(s.routes()))
	return nil
}

// openAPIDocument describes the routes of the JSON API in OpenAPI 3.1.
func openAPIDocument(routes []route) object {
	schemas := schemaSet{}
	failure := object{"description": "What went wrong, by field where it can be told", "content": jsonContent(schemas.of(reflect.TypeFor[Failure](), given))}
	paths := object{}
	for _, rt := range routes {
		if rt.summary == "" {
			continue
		}
		method, path, _ := strings.Cut(rt.pattern, " ")
		item, ok := paths[path].(object)
		if !ok {
			item = object{}
			paths[path] = item
		}
		item[strings.ToLower(method)] = rt.describe(schemas, failure)
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

func (rt route) describe(schemas schemaSet, failure object) object {
	content := object{rt.media: object{}} // no schema describes these bytes
	if rt.gives != nil {
		content = jsonContent(schemas.of(rt.gives, given))
	}
	summary := rt.summary
	if rt.who == ownComputer {
		summary += " (only over the Unix socket)"
	}
	described := object{
		"operationId": operationID(rt.pattern), "summary": summary,
		"responses": object{"200": object{"description": "Done", "content": content}, "default": failure},
	}
	var parameters []object
	for _, name := range regexp.MustCompile(`\{(\w+)\}`).FindAllStringSubmatch(rt.pattern, -1) {
		parameters = append(parameters, object{"name": name[1], "in": "path", "required": true, "schema": pathSchema(name[1])})
	}
	for _, takes := range rt.takes {
		for _, q := range takes.query {
			parameters = append(parameters, object{"name": q.name, "in": "query", "description": q.about, "required": q.required, "schema": q.schema})
		}
		if takes.body != nil {
			described["requestBody"] = object{"required": true, "content": takes.body(schemas)}
		}
	}
	if parameters != nil {
		described["parameters"] = parameters
	}
	return described
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
