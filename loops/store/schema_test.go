// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// shape writes a line for each field that can stand in a stored value of the
// type, however deep it is nested: its path, with ? where it may be left out,
// and its kind.
func shape(t reflect.Type, path string, lines *[]string) {
	own := reflect.PointerTo(t)
	if own.Implements(reflect.TypeFor[json.Marshaler]()) || own.Implements(reflect.TypeFor[encoding.TextMarshaler]()) {
		*lines = append(*lines, path+" "+t.String())
		return
	}
	switch t.Kind() {
	case reflect.Pointer:
		shape(t.Elem(), path, lines)
	case reflect.Slice, reflect.Array, reflect.Map:
		shape(t.Elem(), path+"[]", lines)
	case reflect.Struct:
		for f := range t.Fields() {
			name, leftOut, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch {
			case name == "-":
			case f.Anonymous && name == "":
				shape(f.Type, path, lines)
			case leftOut != "":
				shape(f.Type, path+"."+name+"?", lines)
			default:
				shape(f.Type, path+"."+name, lines)
			}
		}
	default:
		*lines = append(*lines, path+" "+t.Kind().String())
	}
}

// What can stand in the file is what testdata says, field by field. The text of
// schema 1 cannot tell this alone: a field that is left out while it is empty
// changes no old value, and an older program would take the first one that has
// it for damage.
func TestShapeOfStoredRecords(t *testing.T) {
	t.Parallel()
	var lines []string
	for _, record := range store.Shapes() {
		kind := reflect.TypeOf(record)
		shape(kind, kind.Name(), &lines)
	}
	got := "\n" + strings.Join(lines, "\n") + "\n"
	golden := filepath.Join("testdata", "shape.txt")
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), got, "a field of a stored record came, went or changed: doc/store.md, Changing a record")
}

// Every stored form has its shape on record.
func TestShapesAreAll(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	golden, err := os.ReadFile(filepath.Join("testdata", "shape.txt"))
	require.NoError(t, err)
	stored := regexp.MustCompile(`(?m)^type (\w+V\d+) struct`)
	inside := []string{"ownerStartV1"} // of one owner's export, which is never read
	count := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, found := range stored.FindAllSubmatch(text, -1) {
			count++
			if name := string(found[1]); !slices.Contains(inside, name) {
				assert.Contains(t, string(golden), "\n"+name+".")
			}
		}
	}
	assert.Greater(t, count, 10)
	for _, record := range store.Records() {
		name := reflect.TypeOf(record).Name()
		own := strings.ToLower(name[:1]) + strings.TrimSuffix(name[1:], "V1") + "V1"
		assert.Regexp(t, `\n(`+name+`|`+own+`)\.`, string(golden))
	}
}

// A step that rewrites values does so in a file, however many there are, and in
// the lines of an export of the schema before: both end as the same store. What
// the newer program exports it imports, and the older one refuses by the schema.
func TestRewriteFileAndExport(t *testing.T) {
	t.Parallel()
	s := open(t)
	c := change("many")
	for i := range loops.InstrumentID(2100) { // more than are rewritten at a time
		c.Shelf.Instruments = append(c.Shelf.Instruments, loops.Instrument{
			ID: i + 1, Kind: loops.Refractometer, Name: fmt.Sprint("no. ", i+1), Checks: []loops.InstrumentCheck{{Against: "water"}},
		})
	}
	require.NoError(t, s.Commit(c))
	before := exportOf(t, s)
	require.NoError(t, s.Close())

	migrated, err := store.OpenNext(s.Path())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, migrated.Close()) })
	sound(t, migrated)
	all := collect(t, migrated.Instruments())
	require.Len(t, all, 2100)
	for _, i := range all {
		require.Equal(t, "brix", i.Checks[0].Unit, i.Name)
	}

	after := exportOf(t, migrated)
	assert.Contains(t, string(after[:80]), `"schema":2`)
	for name, export := range map[string][]byte{"older": before, "newer": after} {
		path := filepath.Join(t.TempDir(), name)
		require.NoError(t, store.ImportNext(t.Context(), path, bytes.NewReader(export)), name)
		imported, err := store.OpenNext(path)
		require.NoError(t, err, name)
		assert.Equal(t, string(after), string(exportOf(t, imported)), name)
		require.NoError(t, imported.Close())
	}
	err = store.Import(t.Context(), filepath.Join(t.TempDir(), "old"), bytes.NewReader(after))
	assert.ErrorContains(t, err, "the export is of schema 2, this program imports up to 1")
}
