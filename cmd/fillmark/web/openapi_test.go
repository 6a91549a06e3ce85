// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
)

// document loads what the program serves with a reader that is not ours, and
// checks it against the standard.
func document(t *testing.T, b *bench) (*openapi3.T, routers.Router) {
	t.Helper()
	w := b.get("/api/v1/openapi.json")
	require.Equal(t, http.StatusOK, w.Code)
	require.Equal(t, "application/json", w.Header().Get("Content-Type"))
	loader := openapi3.NewLoader()
	doc, err := loader.LoadFromData(w.Body.Bytes())
	require.NoError(t, err)
	require.NoError(t, doc.Validate(loader.Context, openapi3.IsOpenAPI31OrLater()))
	router, err := gorillamux.NewRouter(doc)
	require.NoError(t, err)
	return doc, router
}

func TestOpenAPIListsEveryRoute(t *testing.T) {
	t.Parallel()
	doc, _ := document(t, newBench(t))
	assert.Equal(t, "3.1.0", doc.OpenAPI)
	var described, served []string
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			described = append(described, method+" "+path)
		}
	}
	for _, pattern := range web.Patterns() {
		if strings.Contains(pattern, " /api/v1/") && pattern != "GET /api/v1/openapi.json" {
			served = append(served, pattern)
		}
	}
	assert.ElementsMatch(t, served, described)
}

// Live traffic, both ways, against the document as it is served. Every
// operation has to succeed at least once.
func TestOpenAPIHoldsForLiveTraffic(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	doc, router := document(t, b)
	succeeded := map[string]bool{}
	for _, c := range b.calls() {
		name := c.method + " " + c.path
		r := httptest.NewRequest(c.method, "http://127.0.0.1"+c.path, strings.NewReader(c.body))
		if c.body != "" {
			r.Header.Set("Content-Type", cmp.Or(c.kind, "application/json"))
		}
		route, parameters, err := router.FindRoute(r)
		require.NoError(t, err, name)
		input := &openapi3filter.RequestValidationInput{
			Request: r, PathParams: parameters, Route: route,
			Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, IncludeResponseStatus: true},
		}
		require.NoError(t, openapi3filter.ValidateRequest(t.Context(), input), name)
		w := b.do(r.WithContext(web.WithActor(r.Context(), "local:test")))
		require.Equal(t, c.status, w.Code, "%s: %s", name, w.Body)
		require.NotEmpty(t, w.Body.Bytes(), name)
		assert.NoError(t, openapi3filter.ValidateResponse(t.Context(), &openapi3filter.ResponseValidationInput{
			RequestValidationInput: input, Status: w.Code, Header: w.Header(), Body: io.NopCloser(bytes.NewReader(w.Body.Bytes())),
		}), "%s: %s", name, w.Body)
		if w.Code == http.StatusOK {
			succeeded[route.Method+" "+route.Path] = true
		}
	}
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			assert.True(t, succeeded[method+" "+path], "%s %s was never answered well", method, path)
		}
	}
}

// Every parameter that the document names is one that the route knows, and a
// value that the document allows is one that it takes.
func TestOpenAPIParametersAreTaken(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.ana()
	doc, _ := document(t, b)
	seen := 0
	for path, item := range doc.Paths.Map() {
		if item.Get == nil || path == "/api/v1/outbox/message" || path == "/api/v1/recall" {
			continue // these look for a record, which the live traffic does
		}
		fixed := map[string]any{"trait": "metal=copper", "by": "metals"}
		for _, p := range item.Get.Parameters {
			if p.Value.In != "query" {
				continue
			}
			values := p.Value.Schema.Value.Enum
			switch {
			case fixed[p.Value.Name] != nil:
				values = []any{fixed[p.Value.Name]}
			case p.Value.Schema.Value.Type.Is("boolean"):
				values = []any{true, false}
			case p.Value.Schema.Value.Type.Is("integer"):
				values = []any{1}
			case p.Value.Schema.Value.Format == "date":
				values = []any{"2026-12-03"}
			case values == nil:
				values = []any{"tower"}
			}
			for _, v := range values {
				seen++
				query := "?" + p.Value.Name + "=" + url.QueryEscape(fmt.Sprint(v))
				w := b.get(path + query)
				assert.Equal(t, http.StatusOK, w.Code, "%s%s: %s", path, query, w.Body)
			}
		}
	}
	assert.Greater(t, seen, 60)
}

// The check can fail: an answer with a field too many, or one too few, and a
// request that the program would refuse.
func TestOpenAPICheckCanFail(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, router := document(t, b)
	for body, sound := range map[string]bool{
		`{"id":1,"revision":1,"name":"Ana","consent":{"mail":false,"opening":false,"photos":false}}`:         true,
		`{"id":1,"revision":1,"name":"Ana","consent":{"mail":false,"opening":false,"photos":false},"age":3}`: false,
		`{"id":1,"revision":1,"name":"Ana"}`: false,
		`{"id":"1","revision":1,"name":"Ana","consent":{"mail":false,"opening":false,"photos":false}}`: false,
	} {
		r := httptest.NewRequest("POST", "http://127.0.0.1/api/v1/owners", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		route, parameters, err := router.FindRoute(r)
		require.NoError(t, err)
		input := &openapi3filter.RequestValidationInput{Request: r, PathParams: parameters, Route: route,
			Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
		err = openapi3filter.ValidateResponse(t.Context(), &openapi3filter.ResponseValidationInput{
			RequestValidationInput: input, Status: 200, Header: http.Header{"Content-Type": {"application/json"}}, Body: io.NopCloser(strings.NewReader(body)),
		})
		assert.Equal(t, sound, err == nil, body)
	}
}

// How a value is known stands beside it under its name without the unit, in every
// answer and in one shape. What is left out is said with why.
func TestHowKnownStandsBesideItsValue(t *testing.T) {
	t.Parallel()
	leftOut := map[string]string{
		"WorkshopTopUpQuestionGiven.mass_fraction": "whoever asks says what was read",
		"Pour.mass_fraction":                       "the container that it came out of says it, or the name of the liquid",
	}
	doc, _ := document(t, newBench(t))
	const known = "#/components/schemas/Known"
	beside := map[string]string{"mass_fraction": "mass_fraction_known", "coldest_wall_c": "coldest_wall_known"}
	asked := 0
	for name, schema := range doc.Components.Schemas {
		for key, property := range schema.Value.Properties {
			if strings.HasSuffix(key, "_known") {
				assert.Equal(t, known, strings.TrimSuffix(property.Ref, "Given"), "%s.%s", name, key)
			}
			if sibling, ok := beside[key]; ok && leftOut[name+"."+key] == "" {
				asked++
				assert.NotNil(t, schema.Value.Properties[sibling], "%s.%s", name, key)
			}
		}
	}
	assert.Greater(t, asked, 4)
	var of []string
	for key := range doc.Components.Schemas["Known"].Value.Properties {
		of = append(of, key)
	}
	assert.ElementsMatch(t, []string{"how", "by", "on", "plus_minus"}, of)
}
