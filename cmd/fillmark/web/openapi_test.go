// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
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
	file := b.ana()
	tag := string(file.Loop.Tag)
	doc, router := document(t, b)
	messages := b.get("/api/v1/outbox")
	var outbox struct{ Items []loops.Message }
	require.NoError(t, json.Unmarshal(messages.Body.Bytes(), &outbox))
	require.NotEmpty(t, outbox.Items)

	succeeded := map[string]bool{}
	for _, call := range []struct {
		method, path, body string
		status             int
	}{
		{"POST", "/api/v1/owners", `{"name":"Bea Moss","email":"bea@garden.example","consent":{"mail":true,"opening":false,"photos":false}}`, 200},
		{"POST", "/api/v1/owners", `{"name":""}`, 422},
		{"GET", "/api/v1/owners", "", 200},
		{"POST", "/api/v1/machines", `{"owner":2,"kind":"desktop","name":"white cube","accessories":["cable"]}`, 200},
		{"POST", "/api/v1/machines", `{"owner":99,"kind":"desktop","name":"white cube"}`, 404},
		{"GET", "/api/v1/machines", "", 200},
		{"POST", "/api/v1/loops", `{"machine":2,"sealed":false,"volume_l":0.5,"wetted":[{"part":"cold plate","metal":"copper"}]}`, 200},
		{"GET", "/api/v1/loops", "", 200},
		{"GET", "/api/v1/loops/" + tag, "", 200},
		{"GET", "/api/v1/loops/ABC", "", 422},
		{"POST", "/api/v1/loops/" + tag + "/entries", `{"kind":"leak check","day":"2026-12-03","leak_check":{"hours":2,"dry":true}}`, 200},
		{"POST", "/api/v1/topup", `{"tag":"` + tag + `","room_l":0.06,"with":["concentrate:95%","water"]}`, 200},
		{"GET", "/api/v1/due", "", 200},
		{"POST", "/api/v1/sweep", "", 200},
		{"GET", "/api/v1/outbox", "", 200},
		{"GET", "/api/v1/outbox/message?key=" + string(outbox.Items[0].Key), "", 200},
		{"GET", "/api/v1/outbox/message?key=nothing", "", 404},
		{"POST", "/api/v1/technicians", `{"name":"Bo","password":"copper plate wet felt"}`, 200},
		{"GET", "/api/v1/technicians", "", 200},
		{"POST", "/api/v1/technicians/Bo/password", `{"password":"radiator on the shelf"}`, 200},
		{"POST", "/api/v1/technicians/Bo/link", "", 200},
		{"DELETE", "/api/v1/technicians/Bo", "", 200},
		{"DELETE", "/api/v1/technicians/Bo", "", 404},
	} {
		name := call.method + " " + call.path
		r := httptest.NewRequest(call.method, "http://127.0.0.1"+call.path, strings.NewReader(call.body))
		if call.body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		route, parameters, err := router.FindRoute(r)
		require.NoError(t, err, name)
		input := &openapi3filter.RequestValidationInput{
			Request: r, PathParams: parameters, Route: route,
			Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, IncludeResponseStatus: true},
		}
		require.NoError(t, openapi3filter.ValidateRequest(t.Context(), input), name)
		w := b.do(r.WithContext(web.WithActor(r.Context(), "local:test")))
		require.Equal(t, call.status, w.Code, "%s: %s", name, w.Body)
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
