// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/testdata/peer"
)

// must runs a command line that has to succeed.
func must(t *testing.T, folder string, args ...string) string {
	t.Helper()
	code, out, errOut := runHere(t, folder, args...)
	require.Zero(t, code, "%v: %s", args, errOut)
	return out
}

// Two technicians look at one loop; the second to write is told, and nothing
// of theirs is written, in process as through the daemon.
func TestTwoTechniciansOneLoop(t *testing.T) {
	t.Parallel()
	for _, daemon := range []bool{false, true} {
		folder := t.TempDir()
		if daemon {
			_, stop := startDaemon(t, folder)
			defer func() { assert.Zero(t, stop()) }()
		}
		must(t, folder, "owner", "add", "--name", "Ana Ruizado")
		must(t, folder, "machine", "add", "--owner", "1", "--kind", "desktop", "--name", "tower")
		tag := regexp.MustCompile(`Its tag is (\w+)`).FindStringSubmatch(must(t, folder, "loop", "add", "--machine", "1", "--holds", "480ml", "--open"))[1]
		var seen struct{ Loop loops.Loop }
		require.NoError(t, json.Unmarshal([]byte(must(t, folder, "loop", "show", tag, "--json")), &seen))
		revision := strings.TrimSpace(string(mustJSON(t, seen.Loop.Revision)))

		must(t, folder, "loop", "edit", tag, "--pump-place", "in the reservoir", "--revision", revision)
		code, out, errOut := runHere(t, folder, "loop", "edit", tag, "--mounting", "on top", "--revision", revision)
		assert.Equal(t, exitFailed, code)
		assert.Empty(t, out)
		assert.Contains(t, errOut, "read at revision 1, now 2")
		assert.Contains(t, errOut, "hint: somebody else wrote")
		shown := must(t, folder, "loop", "show", tag, "--json")
		assert.Contains(t, shown, "in the reservoir")
		assert.NotContains(t, shown, "on top")
	}
}

func mustJSON(t *testing.T, value any) []byte {
	t.Helper()
	raw, err := json.Marshal(value)
	require.NoError(t, err)
	return raw
}

// The pages' address lets nobody name paths or erase people: only commands on
// this computer may.
func TestOnlyCommandsNamePaths(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	address, stop := startDaemon(t, folder)
	must(t, folder, "owner", "add", "--name", "Ana Ruizado")
	for path, body := range map[string]string{
		"/api/v1/backup":         `{"folder": "` + filepath.Join(folder, "stolen") + `"}`,
		"/api/v1/compact":        `{}`,
		"/api/v1/owners/1/erase": `{"name": "Ana Ruizado"}`,
	} {
		answer, err := http.Post("http://"+address+path, "application/json", strings.NewReader(body))
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		assert.GreaterOrEqual(t, answer.StatusCode, 400, path)
		assert.Less(t, answer.StatusCode, 500, path)
	}
	assert.NoDirExists(t, filepath.Join(folder, "stolen"))
	assert.Contains(t, must(t, folder, "owner", "list"), "Ana Ruizado")
	assert.Zero(t, stop())
}

// A table that is too long to be read in one go is refused as such.
func TestATableTooLong(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	long := filepath.Join(folder, "owners.csv")
	require.NoError(t, os.WriteFile(long, []byte("name\n"+strings.Repeat("Ana Ruizado\n", 20_001)), 0o600))
	wide := filepath.Join(folder, "wide.csv")
	require.NoError(t, os.WriteFile(wide, []byte("name,address\n"+strings.Repeat("Ana Ruizado,"+strings.Repeat("a", 500)+"\n", 17_000)), 0o600))
	for file, says := range map[string]string{long: "at most 20000 rows in one go: split the table", wide: "at most 8 MB in one go: split the table"} {
		code, out, errOut := runHere(t, folder, "import", file, "--table", "owners")
		assert.Equal(t, exitUsage, code)
		assert.Empty(t, out)
		assert.Contains(t, errOut, says)
	}
	assert.Contains(t, must(t, folder, "owner", "list"), "No owners")
}

// A workshop's whole old list goes in at once.
func TestATableOfTenThousandRows(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	table := filepath.Join(folder, "owners.csv")
	var rows strings.Builder
	rows.WriteString("name,email,address\n")
	for i := range 10_000 {
		fmt.Fprintf(&rows, "Owner No. %d,owner%d@list.example,\"%d, a lane whose name is rather long, in a town by the sea\"\n", i, i, i)
	}
	require.NoError(t, os.WriteFile(table, []byte(rows.String()), 0o600))
	assert.Contains(t, must(t, folder, "import", table, "--table", "owners"), "10000 rows added")
	assert.Contains(t, must(t, folder, "owner", "show", "10000"), "Owner No. 9999")
	must(t, folder, "check")
}

// odd is text that CSV has to quote (RFC 4180) and that is not ASCII.
const odd = "Café \"Am Eck\", 2; 日本"

// Python's csv module reads what is exported, and what it writes is imported:
// as spreadsheets separate where the comma is decimal, with semicolons, and with a byte order mark.
func TestTablesAgainstPython(t *testing.T) {
	t.Parallel()
	python := peer.Program(t, "python3")
	folder := t.TempDir()
	must(t, folder, "owner", "add", "--name", odd, "--address", "Lane 1\nTown", "--email", "a@x.example")
	must(t, folder, "owner", "add", "--name", "Bo")
	table := filepath.Join(folder, "owners.csv")
	must(t, folder, "export", "--table", "owners", "--to", table)

	const read = `import csv, json, sys
rows = list(csv.DictReader(open(sys.argv[1], newline="", encoding="utf-8")))
print(json.dumps(rows))`
	raw, err := exec.Command(python, "-c", read, table).Output()
	require.NoError(t, err)
	var rows []map[string]string
	require.NoError(t, json.Unmarshal(raw, &rows))
	require.Len(t, rows, 2)
	assert.Equal(t, odd, rows[0]["name"])
	assert.Equal(t, "Lane 1\nTown", rows[0]["address"])
	assert.Equal(t, "2", rows[1]["number"])

	const write = `import csv, json, sys
rows = json.load(sys.stdin)
with open(sys.argv[1], "w", newline="", encoding=sys.argv[2]) as f:
    w = csv.DictWriter(f, list(rows[0]), delimiter=sys.argv[3], lineterminator=sys.argv[4].encode().decode("unicode_escape"))
    w.writeheader()
    w.writerows(rows)`
	for _, dialect := range [][]string{
		{"utf-8", ",", `\r\n`}, {"utf-8-sig", ",", `\r\n`}, {"utf-8-sig", ";", `\r\n`}, {"utf-8", ";", `\n`}, {"utf-8", "\t", `\n`},
	} {
		again := t.TempDir()
		cmd := exec.Command(python, append([]string{"-c", write, filepath.Join(again, "in.csv")}, dialect...)...)
		cmd.Stdin = strings.NewReader(string(raw))
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", out)
		must(t, again, "import", filepath.Join(again, "in.csv"), "--table", "owners")
		exported, err := os.ReadFile(table)
		require.NoError(t, err)
		assert.Equal(t, string(exported), must(t, again, "export", "--table", "owners"), "dialect %q", dialect)
	}
}

// jq and Python read every line of an export.
func TestExportAgainstOtherReaders(t *testing.T) {
	t.Parallel()
	jq, python := peer.Program(t, "jq"), peer.Program(t, "python3")
	folder := t.TempDir()
	must(t, folder, "owner", "add", "--name", odd)
	must(t, folder, "machine", "add", "--owner", "1", "--kind", "desktop", "--name", "tower")
	must(t, folder, "shelf", "add", "--kind", "premix", "--product", odd, "--fluid", "pg", "--mass", "40%", "--left", "5l")
	lines := filepath.Join(folder, "whole.jsonl")
	must(t, folder, "export", "--to", lines)
	out, err := exec.Command(jq, "-r", `select(.kind == "owner").record.name`, lines).Output()
	require.NoError(t, err)
	assert.Equal(t, odd+"\n", string(out))
	const kinds = `import json, sys
for line in open(sys.argv[1], encoding="utf-8"):
    print(json.loads(line)["kind"])`
	out, err = exec.Command(python, "-c", kinds, lines).Output()
	require.NoError(t, err)
	found := strings.Fields(strings.ReplaceAll(string(out), " ", "-"))
	assert.Equal(t, "fillmark-export", found[0])
	assert.Equal(t, "end", found[len(found)-1])
	assert.Subset(t, found, []string{"owner", "machine", "container", "audit"})
}
