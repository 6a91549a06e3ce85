// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package fillmark_test

import (
	"crypto/sha256"
	"fmt"
	"go/ast"
	"go/token"
	"maps"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	header = "// Copyright 2026 The Fillmark Authors\n// SPDX-License-Identifier: Apache-2.0\n\n"

	// longest is how many lines a Go file may have outside tests and tables.
	longest = 600
)

// fileComplaints looks at a Go file as text: its header and its length.
func fileComplaints(name, text string) []string {
	var out []string
	if !strings.HasPrefix(text, header) {
		out = append(out, name+": does not begin with the two header lines and a blank one")
	}
	free := strings.HasSuffix(name, "_test.go") || strings.HasPrefix(name, "chemistry/tables/")
	if n := strings.Count(text, "\n"); n > longest && !free {
		out = append(out, fmt.Sprintf("%s: %d lines, more than %d", name, n, longest))
	}
	return out
}

// nameComplaints finds package names that say nothing about what the package does.
func nameComplaints(p parsed) []string {
	vague := []string{"base", "common", "helper", "helpers", "misc", "mock", "mocks", "model", "models", "shared", "type", "types", "util", "utils"}
	names := []string{path.Base(p.folder)}
	for _, f := range p.files {
		names = append(names, f.Name.Name)
	}
	for _, n := range names {
		if slices.Contains(vague, n) {
			return []string{fmt.Sprintf("package %s: %s does not say what it does", p.folder, n)}
		}
	}
	return nil
}

// commentComplaints finds a missing, second or misplaced package comment. It belongs in the file named like the package, doc.go or,
// for a command, main.go.
func commentComplaints(p parsed) []string {
	var in []string
	clause := ""
	for _, name := range slices.Sorted(maps.Keys(p.files)) {
		f := p.files[name]
		clause = f.Name.Name
		if f.Doc == nil {
			continue
		}
		in = append(in, name)
		if clause != "main" && !strings.HasPrefix(f.Doc.Text(), "Package "+clause+" ") {
			return []string{fmt.Sprintf("%s: package comment does not begin with \"Package %s\"", p.at(f), clause)}
		}
	}
	if len(in) != 1 {
		return []string{fmt.Sprintf("package %s: %d package comments %v, not one", p.folder, len(in), in)}
	}
	if !slices.Contains([]string{clause + ".go", "doc.go"}, in[0]) {
		return []string{fmt.Sprintf("package %s: its comment is in %s, not in %s.go", p.folder, in[0], clause)}
	}
	return nil
}

// docComplaints finds exported names without a comment, and comments of a single name that do not start with it. Methods count if
// their type is exported. In a group of constants or variables the group's comment or the line's own does.
func docComplaints(p parsed) []string {
	var out []string
	need := func(n ast.Node, name string, doc *ast.CommentGroup) {
		if ast.IsExported(name) && !startsWith(doc.Text(), name) {
			out = append(out, fmt.Sprintf("%s: %s has no comment that starts with its name", p.at(n), name))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(p.files)) {
		for _, d := range p.files[name].Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Recv == nil || ast.IsExported(receiver(d.Recv.List[0].Type)) {
					need(d, d.Name.Name, d.Doc)
				}
			case *ast.GenDecl:
				grouped := d.Lparen.IsValid()
				for _, s := range d.Specs {
					switch s := s.(type) {
					case *ast.TypeSpec:
						need(s, s.Name.Name, first(s.Doc, d.Doc))
					case *ast.ValueSpec:
						if !grouped {
							need(s, s.Names[0].Name, d.Doc)
						} else if first(d.Doc, s.Doc, s.Comment) == nil && slices.ContainsFunc(s.Names, (*ast.Ident).IsExported) {
							out = append(out, fmt.Sprintf("%s: %s has no comment", p.at(s), s.Names[0]))
						}
					}
				}
			}
		}
	}
	return out
}

// startsWith reports whether a comment starts with the name as a word; an article may stand before it.
func startsWith(doc, name string) bool {
	for _, article := range []string{"A ", "An ", "The "} {
		doc = strings.TrimPrefix(doc, article)
	}
	rest, ok := strings.CutPrefix(doc, name)
	return ok && rest != "" && !token.IsIdentifier("x"+rest[:1])
}

func first(docs ...*ast.CommentGroup) *ast.CommentGroup {
	for _, d := range docs {
		if d != nil {
			return d
		}
	}
	return nil
}

// receiver is the name of a method's type.
func receiver(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.StarExpr:
		return receiver(e.X)
	case *ast.IndexExpr:
		return receiver(e.X)
	case *ast.IndexListExpr:
		return receiver(e.X)
	case *ast.Ident:
		return e.Name
	}
	return ""
}

// unwanted is what no text file of the tree may contain. This file spells the patterns and their offenders out,
// so that it alone is not searched for them.
var unwanted = []struct {
	what    string
	pattern *regexp.Regexp
}{
	{"a path of somebody's machine", regexp.MustCompile(`(^|[^\w./-])/(work/|tmp/\w+/|home/\w|root/)`)},
	{"a package registry's host", regexp.MustCompile(`\b(registry|proxy|sum|deb|packages|mirrors?|files|index)\.[a-z0-9-]+\.(org|com|io|net|dev)\b`)},
	{"a mark of unfinished work", regexp.MustCompile(`\b(TODO|FIXME|XXX)\b`)},
	{"a stiff or old word", regexp.MustCompile(`(?i)\b(reckon\w*|anew|whilst|mend(s|ed|ing)?|amiss|shall|upon|lest|behold|albeit|nought|naught|` +
		`whence|thence|hence(forth|forward)|hither(to)?|(here|where)(of|in|to|upon|tofore|unto)|there(of|in|to|upon|unto)|forthwith|notwithstanding|held to|` +
		`what protects the metal|lets? it run again|the house stands)\b`)},
	{"a conflict mark", regexp.MustCompile(`(?m)^(<{7}|>{7}) `)},
}

// proseComplaints searches one text file for what is unwanted.
func proseComplaints(name, text string) []string {
	var out []string
	for _, u := range unwanted {
		for _, at := range u.pattern.FindAllStringIndex(text, -1) {
			line := 1 + strings.Count(text[:at[0]], "\n")
			out = append(out, fmt.Sprintf("%s:%d: %s: %q", name, line, u.what, text[at[0]:at[1]]))
		}
	}
	return out
}

func TestFiles(t *testing.T) {
	texts := textFiles(t)
	sources := goFiles(texts)
	require.NotEmpty(t, sources)
	for name, text := range sources {
		assert.Empty(t, fileComplaints(name, text))
	}
	require.Greater(t, len(texts), len(sources))
	const spellsThemOut = "house_source_test.go"
	require.NotEmpty(t, proseComplaints(spellsThemOut, texts[spellsThemOut]), "a file that is left out needs a reason")
	delete(texts, spellsThemOut)
	delete(texts, "LICENSE") // has the words of lawyers
	asPublished := 0
	for name, text := range texts {
		if strings.Contains(texts["doc/decisions.md"], fmt.Sprintf("%x", sha256.Sum256([]byte(text)))) {
			asPublished++ // others wrote it, and it is kept as it came
			continue
		}
		assert.Empty(t, proseComplaints(name, text))
	}
	require.Positive(t, asPublished, "whoever is left out needs a reason")
}

func TestFilesFindsOffenders(t *testing.T) {
	long := header + strings.Repeat("\n", longest)
	assert.Empty(t, fileComplaints("a.go", header+"package a\n"))
	assert.Empty(t, fileComplaints("a_test.go", long))
	assert.Empty(t, fileComplaints("chemistry/tables/brine.go", long))
	assert.Len(t, fileComplaints("a.go", long), 1)
	assert.Len(t, fileComplaints("a.go", "package a\n"), 1)
	assert.Len(t, fileComplaints("a.go", strings.TrimSuffix(header, "\n")+"package a\n"), 1, "no blank line")
	assert.Len(t, fileComplaints("a.go", "\n"+header+"package a\n"), 1, "not at the top")

	for _, bad := range []string{
		"see /ro¦ot/house/a.go", "`/t¦mp/ada/house`", "cd /ho¦me/ada", "fetch from regi¦stry.modules.org now", "https://pro¦xy.modules.io/x",
		"// TO¦DO later", "FIX¦ME", "a\n<<<<<<< ours\n", "Reckoned from it", "made anew", "you saw nothing amiss", "it shall hold",
	} {
		bad = strings.ReplaceAll(bad, "¦", "") // in halves, so that who searches the tree for such finds none here
		assert.Len(t, proseComplaints("a.md", bad), 1, bad)
	}
	for _, good := range []string{"framework/main", "https://workshop.example/work/", "mktemp -d in /tmp/demo", "golang.org/x/net", "see doc/work/a", "Todo"} {
		assert.Empty(t, proseComplaints("a.md", good), good)
	}
}

func TestPackageNames(t *testing.T) { check(t, nameComplaints) }

func TestPackageNamesFindsOffenders(t *testing.T) {
	offenders(t, nameComplaints, []offender{
		{name: "folder", folder: "loops/util", text: "package loops", want: "util does not say"},
		{name: "clause", folder: "loops/x", text: "package helpers", want: "helpers does not say"},
		{name: "good", folder: "loops/findings", text: "package findings"},
	})
}

func TestPackageComments(t *testing.T) { check(t, commentComplaints) }

func TestPackageCommentsFindsOffenders(t *testing.T) {
	offenders(t, commentComplaints, []offender{
		{name: "none", text: header + "package a\n", want: "0 package comments"},
		{name: "wrong start", text: "// This is a.\npackage a\n", want: "does not begin with"},
		{name: "wrong file", file: "b.go", text: "// Package a is one.\npackage a\n", want: "not in a.go"},
		{name: "good", text: "// Package a is one.\npackage a\n"},
		{name: "command", file: "main.go", text: "// Fillmark keeps loops.\npackage main\n"},
	})
	two := parse(t, "a", map[string]string{"a.go": "// Package a is one.\npackage a\n", "b.go": "// Package a is two.\npackage a\n"})
	require.Len(t, commentComplaints(two), 1)
	assert.Contains(t, commentComplaints(two)[0], "2 package comments")
}

func TestDocComments(t *testing.T) { check(t, docComplaints) }

func TestDocCommentsFindsOffenders(t *testing.T) {
	offenders(t, docComplaints, []offender{
		{name: "function", text: "package a\nfunc Mix() {}", want: "Mix has no comment"},
		{name: "other start", text: "package a\n// Mixes two.\nfunc Mix() {}", want: "Mix has no comment"},
		{name: "type", text: "package a\ntype Mix struct{}", want: "Mix has no comment"},
		{name: "type in a group", text: "package a\ntype (\n// Mix is one.\nMix struct{}\nPart struct{}\n)", want: "Part has no comment"},
		{name: "method", text: "package a\n// Mix is one.\ntype Mix struct{}\nfunc (*Mix) Add() {}", want: "Add has no comment"},
		{name: "constant", text: "package a\nconst Max = 1", want: "Max has no comment"},
		{name: "in a group", text: "package a\nconst (\nMax = 1\n)", want: "Max has no comment"},
		{name: "variable", text: "package a\nvar ErrA = f()", want: "ErrA has no comment"},
		{name: "method of a private type", text: "package a\ntype mix struct{}\nfunc (mix) Add() {}"},
		{name: "private", text: "package a\nfunc mix() {}"},
		{name: "good", text: "package a\n// Mix does.\nfunc Mix() {}\n// A Part is one.\ntype Part int\n// The kinds.\nconst (\nX = 1\n)"},
		{name: "line comments", text: "package a\nconst (\nX = 1 // one\n)"},
	})
}
