// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/testdata/seeded"
)

// foe makes inputs out of what is described: some as they should be, most
// not.
type foe struct {
	*rand.Rand
	words []string
}

// texts are what has broken programs before.
func texts() []string {
	return []string{
		"", " ", "x", "0", "-1", "1e400", "-0", "NaN", "Inf", "9223372036854775808", "2026-02-30", "0000-00-00", "9999-12-31", "40%", "-1ml", "1e9l",
		"none", "unknown", "yes", "null", "true", "[]", "{}", "%00", "%zz", "\x00", "\r\nX: y", "\u202e", "\ufeff", "\xff\xfe", "🫧", "=1+1", "' OR 1", "<script>", "{{.}}",
		"../../etc", "1=10ml", "a=b=c", "label=the maker's sheet@2026-03-14", "cold plate:copper/nickel", "30%:-14C:22.5brix:1.029kg/l", strings.Repeat("a", 3000), strings.Repeat("é", 2000), strings.Repeat("[", 2000),
	}
}

func pick[T any](h *foe, from []T) T { return from[h.IntN(len(from))] }

// text is one of the known words, of the bad ones, or bytes at random.
func (h *foe) text() string {
	switch h.IntN(4) {
	case 0:
		return pick(h, h.words)
	case 1:
		b := make([]byte, h.IntN(40))
		for i := range b {
			b[i] = byte(h.IntN(256))
		}
		return string(b)
	}
	return pick(h, texts())
}

// value is JSON that follows the schema or does not.
func (h *foe) value(s *openapi3.Schema, deep int) any {
	if s == nil || deep == 0 || h.IntN(6) == 0 {
		return pick(h, []any{nil, true, -1, 0, 1e300, 1e-300, h.text(), []any{h.text()}, map[string]any{h.text(): 1}})
	}
	if len(s.AnyOf) > 0 {
		return h.value(pick(h, s.AnyOf).Value, deep)
	}
	switch {
	case len(s.Enum) > 0:
		return pick(h, s.Enum)
	case s.Type.Includes("object"):
		object := map[string]any{}
		for name, p := range s.Properties {
			if h.IntN(3) > 0 {
				object[name] = h.value(p.Value, deep-1)
			}
		}
		return object
	case s.Type.Includes("array"):
		list := []any{}
		for range h.IntN(4) {
			list = append(list, h.value(s.Items.Value, deep-1))
		}
		return list
	case s.Type.Includes("boolean"):
		return h.IntN(2) == 0
	case s.Type.Includes("number"), s.Type.Includes("integer"):
		return pick(h, []any{0, 1, 2, -1, 0.4, 1e9, 1e300, 40, h.Float64(), h.IntN(1000)})
	}
	return h.text()
}

// call is a request of an operation that the document describes.
func (h *foe) call(method, path string, op *openapi3.Operation, tag string) *http.Request {
	path = strings.NewReplacer("{tag}", tag, "{id}", strconv.Itoa(1+h.IntN(3)), "{table}", pick(h, []string{"owners", "machines", "loops", "containers", "acts"}), "{name}", "bo").Replace(path)
	query := url.Values{}
	for _, p := range op.Parameters {
		if p.Value.In == "query" && h.IntN(2) == 0 {
			query.Set(p.Value.Name, fmt.Sprint(h.value(p.Value.Schema.Value, 1)))
		}
	}
	body, kind := "", ""
	if op.RequestBody != nil {
		kind = pick(h, slices.Sorted(maps.Keys(op.RequestBody.Value.Content)))
		body = h.table()
		if schema := op.RequestBody.Value.Content[kind].Schema; schema != nil {
			raw, _ := json.Marshal(h.value(schema.Value, 4)) // what cannot be written is empty
			body = h.broken(string(raw))
		}
	}
	r := httptest.NewRequest(method, "http://127.0.0.1/", strings.NewReader(body))
	r.URL.Path, r.URL.RawQuery = path, query.Encode()
	r.Header.Set("Content-Type", kind)
	return r
}

// broken is the text, sometimes with a byte changed or its end cut off.
func (h *foe) broken(text string) string {
	if len(text) == 0 || h.IntN(5) > 0 {
		return text
	}
	at := h.IntN(len(text))
	if h.IntN(2) == 0 {
		return text[:at]
	}
	return text[:at] + string([]byte{byte(h.IntN(256))}) + text[at+1:]
}

// table is CSV, mail or nothing of the kind.
func (h *foe) table() string {
	columns := []string{"name", "email", "zone", "owner", "kind", "machine", "sealed", "volume_ml", "wetted", "tag", "act", "day", "note", "product", "left_ml", "mass_percent"}
	var b strings.Builder
	comma := pick(h, []string{",", ";", "\t"})
	width := 1 + h.IntN(6)
	for i := range width {
		if i > 0 {
			b.WriteString(comma)
		}
		b.WriteString(pick(h, columns))
	}
	for range h.IntN(30) {
		b.WriteString("\n")
		for i := range width {
			if i > 0 {
				b.WriteString(comma)
			}
			b.WriteString(h.text())
		}
	}
	return h.broken(b.String())
}

// form is a request to a page, with the fields that pages draw.
func (h *foe) form(method, path string, names []string) *http.Request {
	form := url.Values{}
	for range h.IntN(8) {
		form.Add(pick(h, names), h.text())
	}
	if method == http.MethodGet {
		r := httptest.NewRequest(method, "http://127.0.0.1/", nil)
		r.URL.Path, r.URL.RawQuery = path, form.Encode()
		return r
	}
	r := httptest.NewRequest(method, "http://127.0.0.1/", strings.NewReader(h.broken(form.Encode())))
	r.URL.Path = path
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return r
}

// fieldNames are the names of fields on all pages and of all acts.
func (b *bench) fieldNames(file workshop.File) []string {
	b.Helper()
	seen := map[string]bool{"answer": true, "words": true, "mail": true, "links": true, "List-Unsubscribe": true}
	for pattern, r := range b.routes(file) {
		if !strings.HasPrefix(pattern, "GET ") || strings.Contains(pattern, "/api/") {
			continue
		}
		for _, m := range regexp.MustCompile(`\bname="([^"]+)"`).FindAllStringSubmatch(b.do(r).Body.String(), -1) {
			seen[m[1]] = true
		}
	}
	for _, d := range acts.All() {
		for _, f := range d.Fields {
			seen[f.Name] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

// Whatever is sent to the API and to the pages, made from what they say they
// take: no answer is a fault of the program, and memory is bounded. In full
// length it is 60,000 inputs. It runs by itself, since the heap is the process's.
func TestCampaignHostileInputs(t *testing.T) {
	inputs, seed := seeded.Times(300, 60_000), seeded.Seed(t)
	b := newBench(t)
	file := b.ana()
	doc, _ := document(t, b)
	type operation struct {
		method, path string
		op           *openapi3.Operation
	}
	var calls []operation
	for _, path := range doc.Paths.InMatchingOrder() {
		for method, op := range doc.Paths.Find(path).Operations() {
			// A backup makes the folder that it is told to.
			if path != "/api/v1/backup" {
				calls = append(calls, operation{method, path, op})
			}
		}
	}
	slices.SortFunc(calls, func(a, b operation) int { return strings.Compare(a.method+a.path, b.method+b.path) })
	names := b.fieldNames(file)
	h := &foe{rand.New(rand.NewPCG(seed, 18)), append([]string{string(file.Loop.Tag), "pg", "eg", "copper", "clog", "desktop", "2026-12-03", "500ml", "20C", "look"}, names...)}
	pages := b.routes(file)
	var patterns []string
	for pattern := range pages {
		if !strings.Contains(pattern, "/api/") {
			patterns = append(patterns, pattern)
		}
	}
	slices.Sort(patterns)
	codes := map[int]int{}
	most := uint64(0)
	for i := range inputs {
		b.now = b.now.Add(time.Minute) // for those who hold tries back
		var r *http.Request
		name := ""
		if h.IntN(3) > 0 {
			c := pick(h, calls)
			r, name = h.call(c.method, c.path, c.op, pick(h, []string{string(file.Loop.Tag), string(file.Loop.Tag), h.text()})), c.method+" "+c.path
			if h.IntN(2) == 0 { // as a command over the socket
				r = r.WithContext(web.WithActor(r.Context(), "local:test"))
			}
		} else {
			name = pick(h, patterns)
			r = h.form(pages[name].Method, strings.ReplaceAll(pages[name].URL.Path, "/acts/flush", "/acts/"+pick(h, acts.All()).Name), names)
		}
		w := b.do(r)
		codes[w.Code]++
		if w.Code >= 500 && name != "GET /readyz" { // which says so when mail stands still
			require.Less(t, w.Code, 500, "input %d, %s %s: %s", i, name, r.URL, w.Body)
		}
		if w.Code == http.StatusUnprocessableEntity && strings.Contains(name, "/api/") {
			var failure web.Failure
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &failure), name)
			assert.LessOrEqual(t, len(failure.Problems), loops.MostFaults+1, name)
			assert.Less(t, w.Body.Len(), 64<<10, name)
		}
		if i%200 == 0 {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapAlloc)
		}
	}
	t.Logf("%d inputs to %d calls and %d pages: %v; heap at most %d MB", inputs, len(calls), len(patterns), codes, most>>20)
	assert.Less(t, most, uint64(400<<20), "bytes of heap")
	assert.Greater(t, codes[http.StatusOK], inputs/50, "some are taken")
	assert.Greater(t, codes[http.StatusUnprocessableEntity], inputs/10)
	report, err := b.store.Check(t.Context())
	require.NoError(t, err)
	assert.True(t, report.OK(), "%v", report.Problems)
}
