// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package fillmark_test

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"slices"
	"strings"
	"testing"
)

// clockComplaints finds readings of the clock or of the machine's zone in packages that get their time from the caller.
func clockComplaints(p parsed) []string {
	if !slices.Contains(pure(), p.folder) {
		return nil
	}
	readers := []string{"Now", "Since", "Until", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Sleep", "Local"}
	var out []string
	for _, f := range p.files {
		ast.Inspect(f, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if ok && p.importOf(sel.X) == "time" && slices.Contains(readers, sel.Sel.Name) {
				out = append(out, fmt.Sprintf("%s: time.%s in a package that takes its time from the caller", p.at(n), sel.Sel.Name))
			}
			return true
		})
	}
	return out
}

// importOf is the import path an expression names, "" if it names none.
func (p parsed) importOf(e ast.Expr) string {
	id, ok := e.(*ast.Ident)
	if !ok {
		return ""
	}
	name, ok := p.info.Uses[id].(*types.PkgName)
	if !ok {
		return ""
	}
	return name.Imported().Path()
}

// stateComplaints finds init functions and package variables that can hold state: those without an initial value, those whose value
// is one that a constant could be or that is made to be changed, and those that some function changes. What stays are sentinel
// errors, embedded files, tables, compiled patterns and templates, and values computed once.
func stateComplaints(p parsed) []string {
	var out []string
	for _, f := range p.files {
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Recv == nil && d.Name.Name == "init" {
					out = append(out, p.at(d)+": init function")
				}
			case *ast.GenDecl:
				if d.Tok == token.VAR {
					out = append(out, p.variableComplaints(d)...)
				}
			}
		}
		out = append(out, p.changeComplaints(f)...)
	}
	return out
}

func (p parsed) variableComplaints(d *ast.GenDecl) []string {
	var out []string
	for _, s := range d.Specs {
		v := s.(*ast.ValueSpec)
		if v.Names[0].Name == "_" || embeds(d.Doc) || embeds(v.Doc) {
			continue
		}
		if len(v.Values) == 0 {
			out = append(out, fmt.Sprintf("%s: package variable %s has no value yet", p.at(v), v.Names[0]))
		}
		for _, value := range v.Values {
			if why := p.holdsState(value); why != "" {
				out = append(out, fmt.Sprintf("%s: package variable %s %s", p.at(v), v.Names[0], why))
			}
		}
	}
	return out
}

// embeds reports a go:embed directive.
func embeds(doc *ast.CommentGroup) bool {
	return doc != nil && slices.ContainsFunc(doc.List, func(c *ast.Comment) bool { return strings.HasPrefix(c.Text, "//go:embed ") })
}

// holdsState says what is wrong with a package variable's initial value, "" if nothing is.
func (p parsed) holdsState(value ast.Expr) string {
	if u, ok := value.(*ast.UnaryExpr); ok && u.Op == token.AND {
		value = u.X
	}
	switch v := value.(type) {
	case *ast.CompositeLit:
		sel, ok := v.Type.(*ast.SelectorExpr)
		if ok && under(p.importOf(sel.X), "sync") {
			return "is a lock or an atomic"
		}
		return ""
	case *ast.CallExpr:
		if id, ok := v.Fun.(*ast.Ident); ok && (id.Name == "make" || id.Name == "new") {
			return "is made to be filled later"
		}
		return ""
	}
	return "is a plain value, a function or an expression: make it a constant or pass it in"
}

// changeComplaints finds functions that assign to a package variable or to a part of it, or take its address.
func (p parsed) changeComplaints(f *ast.File) []string {
	var out []string
	complain := func(n ast.Node, e ast.Expr) {
		if name := p.packageVariable(e); name != "" {
			out = append(out, fmt.Sprintf("%s: package variable %s is changed", p.at(n), name))
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			for _, left := range n.Lhs {
				complain(n, left)
			}
		case *ast.IncDecStmt:
			complain(n, n.X)
		case *ast.UnaryExpr:
			if _, element := n.X.(*ast.IndexExpr); n.Op == token.AND && !element { // &table[i] reads a row
				complain(n, n.X)
			}
		case *ast.CallExpr:
			if id, ok := n.Fun.(*ast.Ident); ok && (id.Name == "delete" || id.Name == "clear") && len(n.Args) > 0 {
				complain(n, n.Args[0])
			}
		}
		return true
	})
	return out
}

// packageVariable is the name of the variable of this package that an expression reaches into, "" if it reaches into none.
func (p parsed) packageVariable(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		if v, ok := p.info.Uses[e].(*types.Var); ok && v.Parent() == p.scope {
			return e.Name
		}
	case *ast.IndexExpr:
		return p.packageVariable(e.X)
	case *ast.SelectorExpr:
		return p.packageVariable(e.X)
	case *ast.StarExpr:
		return p.packageVariable(e.X)
	case *ast.ParenExpr:
		return p.packageVariable(e.X)
	}
	return ""
}

func TestClock(t *testing.T) { check(t, clockComplaints) }

func TestClockFindsOffenders(t *testing.T) {
	offenders(t, clockComplaints, []offender{
		{name: "now", folder: "schedule", text: "package a\nimport \"time\"\nfunc f() time.Time { return time.Now() }", want: "time.Now"},
		{name: "since", folder: "loops", text: "package a\nimport \"time\"\nfunc f(t time.Time) any { return time.Since(t) }", want: "time.Since"},
		{name: "under another name", folder: "chemistry", text: "package a\nimport clock \"time\"\nvar f = clock.Now", want: "time.Now"},
		{name: "local zone", folder: "loops/inspection", text: "package a\nimport \"time\"\nvar f = time.Local", want: "time.Local"},
		{name: "not pure", folder: "cmd/fillmark", text: "package a\nimport \"time\"\nvar f = time.Now"},
		{name: "its own Now", folder: "schedule", text: "package a\ntype c struct{ Now int }\nfunc f(time c) int { return time.Now }"},
		{name: "a date", folder: "schedule", text: "package a\nimport \"time\"\nfunc f() time.Time { return time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) }"},
	})
}

func TestState(t *testing.T) { check(t, stateComplaints) }

func TestStateFindsOffenders(t *testing.T) {
	offenders(t, stateComplaints, []offender{
		{name: "init", text: "package a\nfunc init() {}", want: "init function"},
		{name: "no value", text: "package a\nvar cache map[string]int", want: "no value yet"},
		{name: "made", text: "package a\nvar cache = make(map[string]int)", want: "filled later"},
		{name: "lock", text: "package a\nimport \"sync\"\nvar mu = sync.Mutex{}", want: "lock"},
		{name: "atomic", text: "package a\nimport \"sync/atomic\"\nvar n = &atomic.Int64{}", want: "lock or an atomic"},
		{name: "plain", text: "package a\nvar limit = 5", want: "plain value"},
		{name: "hook", text: "package a\nimport \"time\"\nvar now = time.Now", want: "plain value, a function"},
		{name: "filled", text: "package a\nvar seen = map[string]bool{}\nfunc f() { seen[\"x\"] = true }", want: "seen is changed"},
		{name: "replaced", text: "package a\nvar rows = []int{1}\nfunc f() { rows = append(rows, 2) }", want: "rows is changed"},
		{name: "counted", text: "package a\nvar n = [1]int{0}\nfunc f() { n[0]++ }", want: "n is changed"},
		{name: "field", text: "package a\nvar v = struct{ n int }{1}\nfunc f() { v.n = 2 }", want: "v is changed"},
		{name: "deleted", text: "package a\nvar m = map[int]int{1: 1}\nfunc f() { delete(m, 1) }", want: "m is changed"},
		{name: "address", text: "package a\nvar v = struct{ n int }{1}\nfunc f() any { return &v }", want: "v is changed"},
		{name: "sentinel", text: "package a\nimport \"errors\"\nvar ErrNone = errors.New(\"none\")"},
		{name: "embedded", text: "package a\nimport \"embed\"\n\n//go:embed pages\nvar pages embed.FS"},
		{name: "table", text: "package a\nvar rows = []int{1, 2}\nfunc f() int { rows := rows; rows[0] = 2; return rows[0] }"},
		{name: "pattern", text: "package a\nimport \"regexp\"\nvar word = regexp.MustCompile(`x`)"},
		{name: "computed once", text: "package a\nimport \"sync\"\nvar f = sync.OnceValue(func() int { return 1 })"},
		{name: "assertion", text: "package a\nvar _ interface{ F() } = (*x)(nil)\ntype x struct{}\nfunc (*x) F() {}"},
	})
}
