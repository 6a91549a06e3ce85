// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// mutant is one change to one file: the bytes from at to end become another text.
type mutant struct {
	file     string
	line     int
	at, end  int
	was, now string
}

func (m mutant) String() string {
	return fmt.Sprintf("%s:%d %s -> %s", m.file, m.line, m.was, strings.Join(strings.Fields(m.now), " "))
}

// text is the file with the change.
func (m mutant) text() ([]byte, error) {
	text, err := os.ReadFile(m.file)
	if err != nil {
		return nil, err
	}
	return []byte(string(text[:m.at]) + m.now + string(text[m.end:])), nil
}

// swapped is what an operator becomes.
func swapped() map[token.Token]string {
	return map[token.Token]string{
		token.LSS: "<=", token.LEQ: "<", token.GTR: ">=", token.GEQ: ">", token.EQL: "!=", token.NEQ: "==",
		token.LAND: "||", token.LOR: "&&", token.ADD: "-", token.SUB: "+", token.MUL: "/", token.QUO: "*",
	}
}

// mutantsOf lists all changes to the files of a package that mean something:
// operators, whole numbers by one, a not left out, a condition always and never
// true, a call whose result nobody takes left out.
func mutantsOf(folder string) (all []mutant, err error) {
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil {
		return nil, err
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		text, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		file, err := parser.ParseFile(set, name, text, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		add := func(from, to token.Pos, now string) {
			at, end := set.Position(from).Offset, set.Position(to).Offset
			all = append(all, mutant{name, set.Position(from).Line, at, end, strings.Join(strings.Fields(string(text[at:end])), " "), now})
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.BinaryExpr:
				if now, ok := swapped()[x.Op]; ok && !isText(x) {
					add(x.OpPos, x.OpPos+token.Pos(len(x.Op.String())), now)
				}
			case *ast.UnaryExpr:
				if x.Op == token.NOT {
					add(x.OpPos, x.OpPos+1, "")
				}
			case *ast.BasicLit:
				if n, err := strconv.Atoi(x.Value); err == nil && x.Kind == token.INT {
					add(x.Pos(), x.End(), strconv.Itoa(n+1))
				}
			case *ast.IfStmt:
				if x.Init == nil {
					cond := string(text[set.Position(x.Cond.Pos()).Offset:set.Position(x.Cond.End()).Offset])
					add(x.Cond.Pos(), x.Cond.End(), "("+cond+") || true")
					add(x.Cond.Pos(), x.Cond.End(), "("+cond+") && false")
				}
			case *ast.ExprStmt:
				if _, ok := x.X.(*ast.CallExpr); ok {
					add(x.Pos(), x.End(), "")
				}
			}
			return true
		})
	}
	return all, nil
}

// isText tells that an operand is a text, so that + joins.
func isText(x *ast.BinaryExpr) bool {
	for _, side := range []ast.Expr{x.X, x.Y} {
		if l, ok := side.(*ast.BasicLit); ok && l.Kind == token.STRING {
			return true
		}
		if b, ok := side.(*ast.BinaryExpr); ok && isText(b) {
			return true
		}
	}
	return false
}
