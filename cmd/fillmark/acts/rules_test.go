// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
)

// rulesInSource are the ids that this package gives its reasons: the constant of
// a Rule field, and the words that stop and add are called with.
func rulesInSource(t *testing.T) map[string]bool {
	t.Helper()
	names, err := filepath.Glob("*.go")
	require.NoError(t, err)
	found := map[string]bool{}
	note := func(e ast.Expr) {
		if lit, ok := e.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			id, err := strconv.Unquote(lit.Value)
			require.NoError(t, err)
			found[id] = true
		}
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.KeyValueExpr:
				if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Rule" {
					note(n.Value)
				}
			case *ast.CallExpr:
				if f, ok := n.Fun.(*ast.Ident); ok && (f.Name == "stop" || f.Name == "byRecord") {
					note(n.Args[0])
				} else if ok && f.Name == "add" && len(n.Args) == 4 {
					note(n.Args[1])
				}
			}
			return true
		})
	}
	return found
}

// Whoever reads the id of a rule in a reason finds the rule, and no rule is
// told that no act asks.
func TestRulesAreThoseThatActsAsk(t *testing.T) {
	t.Parallel()
	told := map[string]bool{}
	for _, r := range acts.Rules() {
		assert.False(t, told[r.ID], "%s twice", r.ID)
		told[r.ID] = true
		assert.NotEmpty(t, r.When, r.ID)
		assert.NotEmpty(t, r.Text, r.ID)
		assert.NotEmpty(t, r.Source, r.ID)
		assert.Contains(t, []chemistry.Verdict{chemistry.Care, chemistry.Stop}, r.Verdict, r.ID)
	}
	asked := rulesInSource(t)
	for _, r := range chemistry.Rules() {
		assert.False(t, told[r.ID], "%s is one of chemistry's", r.ID)
		delete(asked, r.ID)
	}
	assert.Equal(t, slices.Sorted(maps.Keys(asked)), slices.Sorted(maps.Keys(told)))
}
