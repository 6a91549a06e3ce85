// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package fillmark_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mayReadClock lists who may read the machine's clock, as file and function, and what for. Everything else, tests included, gets its
// time from the caller: what depends on the date is the same on every day. None of the tests here takes a date from it, and the commands they run get a fixed one.
func mayReadClock() map[string]string {
	const span, deadline = "measures how long something takes", "until when something is waited for"
	return map[string]string{
		"main.go main": "the one place where the program's time comes from",

		"print_list.go during": span,

		"middleware.go takesItsTime": deadline,
		"uptime_other.go uptime":     span,

		"middleware.go logged": span,
		"session.go attempt":   span,
		"relay.go prepare":     span,
		"deliver.go Deliver":   span,
		"deliver.go attempt":   span,
		"deliver.go clock":     span,
		"wave.go offer":        span,

		"main.go longest": span,

		"next_schema_test.go TestCampaignNextSchema": span,

		"benches_unix_test.go benchNow": span,
		"benches_unix_test.go fill":     span,
		"benches_unix_test.go hurt":     span,
		"benches_unix_test.go judge":    span,
		"benches_unix_test.go now":      span,

		"leader.go leads": span,
		"leader.go beat":  span,
		"leader.go look":  span,

		"relay.go pace":        span,
		"starttls.go Write":    deadline,
		"starttls.go startTLS": deadline,

		"bench_test.go benchmarkSweep":            span,
		"letters_bench_test.go measure":           span,
		"bench_test.go BenchmarkTransport":        span,
		"bench_test.go benchmarkWrite":            span,
		"transport_test.go TestRelayKeepsTheRate": span,
		"script_test.go awaitfile":                deadline,
		"serve_test.go TestSlowBodiesAreCutOff":   deadline,
		"serve_test.go TestSlowPhotosComeIn":      deadline,
	}
}

// clockReaders finds who reads the machine's clock in a file and may not.
func clockReaders(t *testing.T, name, text string, allowed map[string]string) (out []string, used []string) {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, text, parser.SkipObjectResolution)
	require.NoError(t, err)
	clock := ""
	for _, i := range file.Imports {
		if at, err := strconv.Unquote(i.Path.Value); err == nil && at == "time" {
			clock = "time"
			if i.Name != nil {
				clock = i.Name.Name
			}
		}
	}
	for _, d := range file.Decls {
		within := path.Base(name)
		if f, ok := d.(*ast.FuncDecl); ok {
			within += " " + f.Name.Name
		}
		ast.Inspect(d, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok || !slices.Contains([]string{"Now", "Since", "Until"}, sel.Sel.Name) {
				return true
			}
			if id, ok := sel.X.(*ast.Ident); !ok || id.Name != clock || clock == "" {
				return true
			}
			if _, may := allowed[within]; may {
				used = append(used, within)
			} else {
				out = append(out, fmt.Sprintf("%s: time.%s in %q, which is not on the list of who may read the machine's clock", fset.Position(n.Pos()), sel.Sel.Name, within))
			}
			return true
		})
	}
	return out, used
}

func TestMachineClock(t *testing.T) {
	allowed, used := mayReadClock(), map[string]bool{}
	for name, text := range goFiles(textFiles(t)) {
		out, did := clockReaders(t, name, text, allowed)
		assert.Empty(t, out)
		for _, u := range did {
			used[u] = true
		}
	}
	for _, name := range slices.Sorted(maps.Keys(allowed)) {
		assert.True(t, used[name], "%s is on the list and reads no clock", name)
	}
}

func TestMachineClockFindsOffenders(t *testing.T) {
	allowed := map[string]string{"a.go run": "an example"}
	for _, tt := range []struct{ name, file, text, want string }{
		{"program", "x/b.go", "package x\nimport \"time\"\nvar at = time.Now()", "time.Now"},
		{"test", "x/b_test.go", "package x\nimport \"time\"\nfunc TestA() { _ = time.Now().Year() }", "b_test.go TestA"},
		{"under another name", "x/b.go", "package x\nimport clock \"time\"\nfunc f() { _ = clock.Until }", "time.Until"},
		{"another function of the file", "a.go", "package x\nimport \"time\"\nfunc walk() { _ = time.Now }", "a.go walk"},
		{"allowed", "x/a.go", "package x\nimport \"time\"\nfunc run() { _ = time.Now }", ""},
		{"no clock", "x/b.go", "package x\nimport \"time\"\nfunc f() { _ = time.Date }", ""},
		{"its own", "x/b.go", "package x\nfunc f(time c) { _ = time.Now }\ntype c struct{ Now int }", ""},
	} {
		out, _ := clockReaders(t, tt.file, tt.text, allowed)
		if tt.want == "" {
			assert.Empty(t, out, tt.name)
			continue
		}
		require.Len(t, out, 1, tt.name)
		assert.Contains(t, out[0], tt.want)
	}
}
