// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/testdata/peer"
)

func TestRoundTripOfManyRecords(t *testing.T) {
	t.Parallel()
	testRoundTripOfManyRecords(t, files)
}

func testRoundTripOfManyRecords(t *testing.T, fresh place) {
	s := fresh.open(t)
	everything(t, s)
	many := 700
	if store.InDatabase(s.Path()) {
		many = 60 // each is four round trips and a sync
	}
	for range many {
		require.NoError(t, s.Commit(workshop(t, s)))
	}
	_, err := s.NewOwnerID() // a gap that an import must keep
	require.NoError(t, err)
	first := exportOf(t, s)
	path := fresh(t)
	require.NoError(t, store.Import(t.Context(), path, bytes.NewReader(first)))
	back, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	assert.True(t, bytes.Equal(first, exportOf(t, back)), "another text came out than went in")
	wantID, err := s.NewOwnerID()
	require.NoError(t, err)
	gotID, err := back.NewOwnerID()
	require.NoError(t, err)
	assert.Equal(t, wantID, gotID)
	require.NoError(t, back.Close())
}

func TestImportRefuses(t *testing.T) {
	t.Parallel()
	testImportRefuses(t, files)
}

func testImportRefuses(t *testing.T, fresh place) {
	golden, err := os.ReadFile(filepath.Join("testdata", "schema-1.jsonl"))
	require.NoError(t, err)
	text := string(golden)
	first, rest, _ := strings.Cut(text, "\n")
	lines := strings.SplitAfter(text, "\n")
	for _, c := range []struct {
		name, text, want string
	}{
		{"nothing", "", "line 0: the export is cut off"},
		{"cut off", text[:strings.LastIndex(text[:len(text)-1], "\n")+1], "the export is cut off"},
		{"no first line", rest, "line 1: kind \"owner\""},
		{"first line twice", first + "\n" + text, "line 2: kind \"fillmark export\""},
		{"a line missing", lines[0] + strings.Join(lines[2:], ""), "lines were exported"},
		{"a line twice", lines[0] + lines[1] + strings.Join(lines[1:], ""), "line 3: owner: 1 stands there twice"},
		{"no JSON", lines[0] + "owner\n" + strings.Join(lines[1:], ""), "line 2: "},
		{"unknown kind", strings.Replace(text, `"kind":"machine"`, `"kind":"engine"`, 1), "line 4: kind \"engine\""},
		{"unknown field", strings.Replace(text, `"name":"Ana Fern"`, `"surname":"Ana Fern"`, 1), "line 2: owner: version 1: json: unknown field \"surname\""},
		{"newer version", strings.Replace(text, `"kind":"owner","v":1`, `"kind":"owner","v":2`, 1), "line 2: owner: version 2 of the record"},
		{"newer schema", strings.Replace(text, `"schema":1`, `"schema":9`, 1), "line 1: fillmark export: the export is of schema 9"},
		{"text after the end", text + "{}\n", "text after the end"},
		{"a record of nobody", strings.Replace(text, `"machine":1,"tag"`, `"machine":5,"tag"`, 1), "loops 1: its machine 5 is not there"},
		{"a counter set back", strings.Replace(text, `"owners":2`, `"owners":1`, 1), "owners 2: the counter of ids stands at 1"},
		{"a tag twice", strings.Replace(text, `"tag":"8N4RYB"`, `"tag":"7K3QXA"`, 1), "7K3QXA: the tag is taken"},
		{"an id of zero", strings.Replace(text, `"kind":"owner","v":1,"record":{"id":2`, `"kind":"owner","v":1,"record":{"id":0`, 1), "owners 0: an id is zero"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			require.NotEqual(t, text, c.text)
			folder := t.TempDir()
			err := store.Import(t.Context(), filepath.Join(folder, "imported"), strings.NewReader(c.text))
			require.ErrorContains(t, err, c.want)
			files, err := os.ReadDir(folder)
			require.NoError(t, err)
			assert.Empty(t, files, "nothing is left behind")
		})
	}
	s := fresh.open(t)
	require.ErrorIs(t, store.Import(t.Context(), s.Path(), strings.NewReader(text)), os.ErrExist)
}

// An export says who the technicians are and holds nothing to sign in with; one
// that brings a password is refused.
func TestExportHoldsNoSecret(t *testing.T) {
	t.Parallel()
	testExportHoldsNoSecret(t, files)
}

func testExportHoldsNoSecret(t *testing.T, fresh place) {
	s := fresh.open(t)
	everything(t, s)
	text := string(exportOf(t, s))
	for _, secret := range []string{"argon2id", "password", strings.Repeat("a1", 32), strings.Repeat("b2", 32)} {
		assert.NotContains(t, text, secret)
	}
	path := fresh(t)
	require.NoError(t, store.Import(t.Context(), path, strings.NewReader(text)))
	back, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	assert.Equal(t, []loops.Technician{{Name: "Mia", Revision: 1, Added: noon}, {Name: "Rui", Revision: 1, Added: noon}}, collect(t, back.Technicians()))
	require.NoError(t, back.Close())
	bold := strings.Replace(text, `{"name":"Mia",`, `{"name":"Mia","password":"x",`, 1)
	require.NotEqual(t, text, bold)
	assert.ErrorContains(t, store.Import(t.Context(), fresh(t), strings.NewReader(bold)), `technician: version 1: json: unknown field "password"`)
}

// jq and Python read the export, and find in it what went in.
func TestExportReadByOthers(t *testing.T) {
	t.Parallel()
	file := filepath.Join("testdata", "schema-1.jsonl")
	golden, err := os.ReadFile(file)
	require.NoError(t, err)
	t.Run("jq", func(t *testing.T) {
		t.Parallel()
		out, err := exec.Command(peer.Program(t, "jq"), "-r", `select(.kind=="entry") | .record.kind`, file).Output()
		require.NoError(t, err)
		var want []string
		for _, e := range allPayloads(1, loops.Day{Year: 2026, Month: 12, Dom: 3}) {
			want = append(want, string(e.Kind))
		}
		assert.Equal(t, want, strings.Split(strings.TrimSpace(string(out)), "\n"))
	})
	t.Run("Python", func(t *testing.T) {
		t.Parallel()
		out, err := exec.Command(peer.Program(t, "python3"), "-c", `import json, sys
lines = [json.loads(l) for l in open(sys.argv[1], encoding="utf-8")]
print(len(lines), lines[-1]["record"]["lines"], [l for l in lines if l["kind"] == "owner"][1]["record"]["name"])`, file).Output()
		require.NoError(t, err)
		n := bytes.Count(golden, []byte("\n"))
		assert.Equal(t, []any{n, n - 1, "Björn Öst"}, fields(t, string(out)))
	})
}

// fields reads what the Python lines print: two numbers and a name.
func fields(t *testing.T, out string) []any {
	t.Helper()
	var lines, counted int
	var given, family string
	_, err := fmt.Sscan(out, &lines, &counted, &given, &family)
	require.NoError(t, err)
	return []any{lines, counted, given + " " + family}
}

// FuzzImport never panics, and what it accepts it gives back.
func FuzzImport(f *testing.F) {
	golden, err := os.ReadFile(filepath.Join("testdata", "schema-1.jsonl"))
	require.NoError(f, err)
	f.Add(golden)
	f.Add([]byte(`{"kind":"fillmark export","v":1,"record":{"schema":1,"counters":{}}}` + "\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "imported")
		if err := store.Import(t.Context(), path, bytes.NewReader(text)); err != nil {
			return
		}
		s, err := store.Open(path, store.Options{})
		require.NoError(t, err)
		again := filepath.Join(t.TempDir(), "again")
		first := exportOf(t, s)
		require.NoError(t, store.Import(t.Context(), again, bytes.NewReader(first)))
		require.NoError(t, s.Close())
	})
}
