// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package fillmark_test holds the rules of the house as tests: who may import whom, which packages are pure, what each Go file and
// each exported name carries, and what no file of the tree may contain. The root has no other Go code.
//
// Every rule is a function from what was read to a list of complaints, so that the same function is run over the tree, where it must
// find nothing, and over small invented offenders, where it must find each of them.
package fillmark_test

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// module is the module's path, the first element of every import of our own.
const module = "fillmark"

// listed is what `go list` says about one package.
type listed struct {
	ImportPath   string
	Dir          string
	Name         string
	GoFiles      []string
	Imports      []string // of the package itself
	TestImports  []string // of its tests inside the package
	XTestImports []string // of its tests outside the package
}

// folder is the package's path below the module, "" at the root.
func (p listed) folder() string {
	return strings.TrimPrefix(strings.TrimPrefix(p.ImportPath, module), "/")
}

// testImports are the imports of all tests of the package, without the package itself.
func (p listed) testImports() []string {
	all := slices.Concat(p.TestImports, p.XTestImports)
	return slices.DeleteFunc(all, func(s string) bool { return s == p.ImportPath })
}

// listPackages asks the go command for every package of the module.
func listPackages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Dir,Name,GoFiles,Imports,TestImports,XTestImports", "./...")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err, "go list")
	var all []listed
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err, "go list output")
		all = append(all, p)
	}
	require.NotEmpty(t, all, "go list found no package")
	return all
}

// textFiles reads every text file of the tree, keyed by its slash-separated path below the root. What git and npm keep for
// themselves is left out, and so is what is no text.
func textFiles(t *testing.T) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if slices.Contains([]string{".git", "node_modules", "dist"}, d.Name()) {
				return fs.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() || name == ".git" { // .git is a file in a linked work tree
			return nil
		}
		text, err := os.ReadFile(name)
		if err == nil && !strings.ContainsRune(string(text), 0) {
			files[filepath.ToSlash(name)] = string(text)
		}
		return err
	})
	require.NoError(t, err)
	return files
}

// goFiles picks the Go files.
func goFiles(files map[string]string) map[string]string {
	out := maps.Clone(files)
	maps.DeleteFunc(out, func(name, _ string) bool { return path.Ext(name) != ".go" })
	return out
}

// parsed is one package, read and resolved within itself.
type parsed struct {
	folder string
	fset   *token.FileSet
	files  map[string]*ast.File // by base name
	info   *types.Info
	scope  *types.Scope
}

// hollow stands in for every import by an empty package: the rules need to know which package a name belongs to, not what is in it.
type hollow struct{}

func (hollow) Import(p string) (*types.Package, error) {
	pkg := types.NewPackage(p, strings.TrimPrefix(path.Base(p), "go-"))
	pkg.MarkComplete()
	return pkg, nil
}

// parse reads a package's files, given as base name → text. Names are resolved within the package; errors about the insides of other
// packages are expected and left out, since the compiler has had its say already.
func parse(t *testing.T, folder string, texts map[string]string) parsed {
	t.Helper()
	p := parsed{folder: folder, fset: token.NewFileSet(), files: map[string]*ast.File{}}
	p.info = &types.Info{Uses: map[*ast.Ident]types.Object{}, Defs: map[*ast.Ident]types.Object{}}
	var order []*ast.File
	for _, name := range slices.Sorted(maps.Keys(texts)) {
		f, err := parser.ParseFile(p.fset, path.Join(folder, name), texts[name], parser.ParseComments|parser.SkipObjectResolution)
		require.NoError(t, err)
		p.files[name] = f
		order = append(order, f)
	}
	conf := types.Config{Importer: hollow{}, Error: func(error) {}}
	pkg, _ := conf.Check(path.Join(module, folder), p.fset, order, p.info)
	p.scope = pkg.Scope()
	return p
}

// parseAll parses the non-test files of every package of the module.
func parseAll(t *testing.T) []parsed {
	t.Helper()
	var all []parsed
	for _, l := range listPackages(t) {
		if len(l.GoFiles) == 0 {
			continue // tests only
		}
		texts := map[string]string{}
		for _, name := range l.GoFiles {
			text, err := os.ReadFile(filepath.Join(l.Dir, name))
			require.NoError(t, err)
			texts[name] = string(text)
		}
		all = append(all, parse(t, l.folder(), texts))
	}
	require.NotEmpty(t, all)
	return all
}

// at is where a complaint points.
func (p parsed) at(n ast.Node) string { return p.fset.Position(n.Pos()).String() }

// check asserts that a rule finds nothing in every package of the tree.
func check(t *testing.T, rule func(parsed) []string) {
	t.Helper()
	for _, p := range parseAll(t) {
		assert.Empty(t, rule(p), "package %s", p.folder)
	}
}

// offender is an invented package that a rule must complain about, or must not when want is empty.
type offender struct {
	name   string
	folder string
	file   string // base name, a.go if empty
	text   string
	want   string // part of the one complaint
}

// offenders runs a rule over invented packages.
func offenders(t *testing.T, rule func(parsed) []string, cases []offender) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			file := c.file
			if file == "" {
				file = "a.go"
			}
			got := rule(parse(t, c.folder, map[string]string{file: c.text}))
			if c.want == "" {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Contains(t, got[0], c.want)
		})
	}
}
