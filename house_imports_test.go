// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package fillmark_test

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mayImport is the direction of the arrows: for each package, which others of ours it may import. A package that is not here fails the
// test, so that a newcomer's place is decided and not drifted into. Change this list in a commit of its own that says why.
func mayImport() map[string][]string {
	workshop := []string{"chemistry", "cmd/fillmark/acts", "cmd/fillmark/alarm", "disk", "loops", "loops/evidence", "loops/findings", "loops/inspection", "loops/inspection/triage", "loops/photos", "loops/sheet", "notify", "notify/links", "notify/words", "schedule"}
	web := slices.Concat(workshop, []string{"cmd/fillmark/authority", "cmd/fillmark/doctor", "cmd/fillmark/workshop", "cmd/fillmark/signin", "drawing"})
	daemon := slices.Concat(web, []string{"cmd/fillmark/backups", "cmd/fillmark/web", "loops/store", "notify/login", "notify/mailbox"})
	return map[string][]string{
		"":                 nil, // these tests
		"chemistry":        {"chemistry/tables"},
		"chemistry/tables": nil,
		"disk":             nil,                                      // files that are whole and last, for whoever keeps one
		"loops":            {"chemistry", "loops/inspection"},        // one judgement of a proof
		"loops/evidence":   {"chemistry", "loops", "loops/findings"}, // histories to lives
		"loops/findings":   nil,
		"loops/inspection": {"chemistry"},
		// From symptom to cause stands beside what readings say and uses its
		// quantities; nothing of inspection needs it.
		"loops/inspection/triage": {"chemistry", "loops/inspection"},
		"loops/photos":            {"disk"},
		"loops/sheet":             {"loops"},
		"loops/store":             {"chemistry", "loops", "loops/store/bolt", "loops/store/engine", "loops/store/postgres"},
		"loops/store/bolt":        {"disk", "loops", "loops/store/engine"},
		"loops/store/postgres":    {"loops", "loops/store/engine"},
		"loops/store/engine":      nil, // what any keeper of bytes can do
		"schedule":                {"chemistry", "loops", "loops/findings", "loops/inspection", "loops/inspection/triage"},
		"notify":                  {"chemistry", "disk", "loops", "notify/links", "notify/login", "notify/words", "schedule"},
		"notify/login":            {"disk", "loops"}, // of the relay and of the mailbox
		"notify/mailbox":          {"loops", "notify", "notify/login"},
		"notify/links":            {"loops"},
		"notify/words":            {"loops"}, // what owners read, in their language
		// What a page draws of a loop is worked out where no page is known.
		"drawing":            {"chemistry", "loops", "loops/inspection", "schedule"},
		"cmd/fillmark/acts":  {"chemistry", "loops", "loops/inspection", "schedule"}, // pure: every adapter reads it
		"cmd/fillmark/alarm": {"loops"},                                              // who is told, and how: needs no register of its own
		// What backups are called, which stay and how one is encrypted: of a register it knows the file alone.
		"cmd/fillmark/backups": {"disk", "loops"},
		// The doctor judges facts and looks at nothing, so that page, command and /readyz say the same.
		"cmd/fillmark/doctor":    {"loops", "notify"},
		"cmd/fillmark/authority": {"disk"}, // keys and certificates, and nothing of cooling
		"cmd/fillmark/signin":    {"loops"},
		"cmd/fillmark/workshop":  workshop,
		"cmd/fillmark/web":       web,
		"cmd/fillmark/daemon":    daemon,
		"cmd/fillmark/demo":      {"chemistry", "cmd/fillmark/acts", "cmd/fillmark/daemon", "cmd/fillmark/workshop", "loops", "notify", "schedule"},
		"cmd/fillmark/cli":       slices.Concat(daemon, []string{"cmd/fillmark/daemon", "cmd/fillmark/demo"}),
		"cmd/fillmark":           {"cmd/fillmark/cli", "loops/photos"},
	}
}

// libraries says where a library may be imported; anything below the path counts. Elsewhere it would pull its subject out of the
// package that owns it. Tests may import it anywhere if tests is set.
var libraries = []struct {
	path  string
	only  []string
	tests bool
}{
	{"go.etcd.io/bbolt", []string{"loops/store", "loops/store/bolt"}, false},
	{"github.com/jackc/pgx/v5", []string{"loops/store/postgres"}, true},
	{"github.com/emersion", []string{"notify", "notify/login", "notify/mailbox"}, true}, // message, msgauth, smtp, sasl, imap
	{"golang.org/x/oauth2", []string{"notify/login"}, false},
	{"net/smtp", nil, false}, // frozen; emersion/go-smtp is the one in use
	{"github.com/spf13/cobra", []string{"cmd/fillmark/cli"}, true},
	{"github.com/spf13/pflag", []string{"cmd/fillmark/cli"}, true},
	{"github.com/spf13/viper", []string{"cmd/fillmark/daemon"}, true},
	{"github.com/go-viper", []string{"cmd/fillmark/daemon"}, true},
	{"github.com/robfig/cron/v3", []string{"cmd/fillmark/daemon", "cmd/fillmark/workshop"}, true},
	{"filippo.io/age", []string{"cmd/fillmark/backups"}, true},
	{"golang.org/x/image", []string{"loops/photos"}, true},
	{"github.com/bep/imagemeta", []string{"loops/photos"}, false},
	{"gonum.org/v1/gonum", []string{"loops/findings", "loops/inspection"}, true},
	{"github.com/coreos/go-systemd", []string{"cmd/fillmark/daemon"}, false},
	{"github.com/standard-webhooks", nil, true}, // the receiver's side, for a test
	{"github.com/stretchr/testify", nil, true},
	{"github.com/jba/templatecheck", nil, true},
	{"github.com/rogpeppe/go-internal", nil, true},
	{"pgregory.net/rapid", nil, true},
	{"testing", nil, true},
}

// pure lists the packages without I/O, clock and randomness: every answer of theirs can be recomputed from what they were given.
func pure() []string {
	return []string{"chemistry", "chemistry/tables", "cmd/fillmark/acts", "cmd/fillmark/doctor", "drawing", "loops", "loops/evidence", "loops/findings", "loops/inspection", "loops/inspection/triage", "schedule"}
}

// impure lists what a pure package does not import. A source of random bytes, where one is needed, comes in as an io.Reader.
func impure() []string {
	return []string{"crypto/rand", "log", "log/slog", "math/rand", "math/rand/v2", "net", "net/http", "os", "os/exec", "os/signal", "os/user",
		"syscall"}
}

// under reports whether an import is the path or below it.
func under(imported, path string) bool {
	return imported == path || strings.HasPrefix(imported, path+"/")
}

// arrowComplaints compares one package's imports of ours with the list. Its tests may also look for programs of the outside, and
// open a real store if the package knows records at all.
func arrowComplaints(p listed) []string {
	allowed, known := mayImport()[p.folder()]
	if !known {
		return []string{fmt.Sprintf("package %s is not on the list: decide what it may import and add it to mayImport", p.ImportPath)}
	}
	var out []string
	for _, i := range p.Imports {
		if own, ok := strings.CutPrefix(i, module+"/"); ok && !slices.Contains(allowed, own) {
			out = append(out, fmt.Sprintf("%s imports %s", p.ImportPath, i))
		}
	}
	knowsRecords := p.folder() == "loops" || slices.Contains(allowed, "loops")
	for _, i := range p.testImports() {
		own, ok := strings.CutPrefix(i, module+"/")
		if !ok || slices.Contains(allowed, own) || strings.HasPrefix(own, "testdata/") || own == "loops/store" && knowsRecords {
			continue
		}
		out = append(out, fmt.Sprintf("tests of %s import %s", p.ImportPath, i))
	}
	return out
}

// libraryComplaints compares one package's other imports with libraries, with pure, and with chemistry's rule: nothing but the
// standard library.
func libraryComplaints(p listed) []string {
	var out []string
	for _, i := range p.Imports {
		if slices.Contains(impure(), i) && slices.Contains(pure(), p.folder()) {
			out = append(out, fmt.Sprintf("%s imports %s, but is pure", p.ImportPath, i))
		}
		if under(p.folder(), "chemistry") && strings.Contains(strings.Split(i, "/")[0], ".") {
			out = append(out, fmt.Sprintf("%s imports %s, but chemistry keeps to the standard library", p.ImportPath, i))
			continue
		}
		if i == "unsafe" || i == "C" {
			out = append(out, fmt.Sprintf("%s imports %s", p.ImportPath, i))
		}
		for _, l := range libraries {
			if under(i, l.path) && !slices.Contains(l.only, p.folder()) {
				out = append(out, fmt.Sprintf("%s imports %s, which belongs to %v", p.ImportPath, i, l.only))
			}
		}
	}
	for _, i := range p.testImports() {
		for _, l := range libraries {
			if under(i, l.path) && !l.tests && !slices.Contains(l.only, p.folder()) {
				out = append(out, fmt.Sprintf("tests of %s import %s, which belongs to %v", p.ImportPath, i, l.only))
			}
		}
	}
	return out
}

// undecided lists the libraries that packages import without a word in doc/decisions.md, where each stands as `path`.
func undecided(all []listed, decisions string) []string {
	var out []string
	for _, p := range all {
		for _, i := range p.Imports {
			elements := strings.Split(i, "/")
			if !strings.Contains(elements[0], ".") {
				continue // the standard library or ours
			}
			said := false
			for n := len(elements); n > 1 && !said; n-- {
				said = strings.Contains(decisions, "`"+strings.Join(elements[:n], "/")+"`")
			}
			if !said {
				out = append(out, fmt.Sprintf("%s imports %s, which doc/decisions.md does not name", p.ImportPath, i))
			}
		}
	}
	return out
}

// unimported lists the libraries that have a row of their own in doc/decisions.md and that no package imports.
func unimported(all []listed, decisions string) []string {
	var out []string
	for _, row := range regexp.MustCompile("(?m)^\\| `([^`]+)`").FindAllStringSubmatch(decisions, -1) {
		imported := slices.ContainsFunc(all, func(p listed) bool {
			return slices.ContainsFunc(p.Imports, func(i string) bool { return under(i, row[1]) })
		})
		if !imported {
			out = append(out, row[1])
		}
	}
	return out
}

func TestImports(t *testing.T) {
	all := listPackages(t)
	for _, p := range all {
		assert.Empty(t, arrowComplaints(p))
		assert.Empty(t, libraryComplaints(p))
	}
	decisions, err := os.ReadFile("doc/decisions.md")
	require.NoError(t, err)
	assert.Empty(t, undecided(all, string(decisions)))
	assert.Empty(t, unimported(all, string(decisions)))
}

func TestImportsFindsOffenders(t *testing.T) {
	tests := []struct {
		name    string
		pkg     string
		imports string
		test    bool // the import is a test's
		want    string
	}{
		{"newcomer", "fillmark/sensors", "fmt", false, "not on the list"},
		{"chemistry climbs", "fillmark/chemistry", "fillmark/loops", false, "imports fillmark/loops"},
		{"findings stand alone", "fillmark/loops/findings", "fillmark/chemistry", false, "imports fillmark/chemistry"},
		{"store decides nothing", "fillmark/loops/store", "fillmark/schedule", false, "imports fillmark/schedule"},
		{"web reaches the store", "fillmark/cmd/fillmark/web", "fillmark/loops/store", false, "imports fillmark/loops/store"},
		{"workshop reaches the store", "fillmark/cmd/fillmark/workshop", "fillmark/loops/store", false, "imports fillmark/loops/store"},
		{"daemon knows commands", "fillmark/cmd/fillmark/daemon", "fillmark/cmd/fillmark/cli", false, "imports fillmark/cmd/fillmark/cli"},
		{"demo knows commands", "fillmark/cmd/fillmark/demo", "fillmark/cmd/fillmark/cli", false, "imports fillmark/cmd/fillmark/cli"},
		{"daemon has flags", "fillmark/cmd/fillmark/daemon", "github.com/spf13/cobra", false, "belongs to [cmd/fillmark/cli]"},
		{"pure test opens a store", "fillmark/chemistry", "fillmark/loops/store", true, "tests of fillmark/chemistry"},
		{"test climbs", "fillmark/notify", "fillmark/cmd/fillmark/web", true, "tests of fillmark/notify"},
		{"bbolt elsewhere", "fillmark/schedule", "go.etcd.io/bbolt", false, "belongs to [loops/store loops/store/bolt]"},
		{"bbolt's errors elsewhere", "fillmark/cmd/fillmark/daemon", "go.etcd.io/bbolt/errors", false, "belongs to [loops/store loops/store/bolt]"},
		{"bbolt in another test", "fillmark/cmd/fillmark/cli", "go.etcd.io/bbolt", true, "tests of"},
		{"mail elsewhere", "fillmark/cmd/fillmark/web", "github.com/emersion/go-smtp", false, "belongs to [notify notify/login notify/mailbox]"},
		{"chemistry with a library", "fillmark/chemistry", "gonum.org/v1/gonum/optimize", false, "standard library"},
		{"tables with a library", "fillmark/chemistry/tables", "github.com/x/y", false, "standard library"},
		{"testify in the program", "fillmark/notify", "github.com/stretchr/testify/assert", false, "belongs to"},
		{"schedule draws lots", "fillmark/schedule", "math/rand/v2", false, "is pure"},
		{"inspection reads files", "fillmark/loops/inspection", "os", false, "is pure"},
		{"loops opens a socket", "fillmark/loops", "net", false, "is pure"},
		{"loops draw lots", "fillmark/loops", "crypto/rand", false, "is pure"},
		{"findings serve", "fillmark/loops/findings", "net/http", false, "is pure"},
		{"unsafe", "fillmark/loops/store", "unsafe", false, "imports unsafe"},
		{"allowed", "fillmark/cmd/fillmark/daemon", "fillmark/loops/store", false, ""},
		{"allowed in a test", "fillmark/cmd/fillmark/web", "fillmark/loops/store", true, ""},
		{"allowed library", "fillmark/loops/store", "go.etcd.io/bbolt", false, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := listed{ImportPath: tt.pkg, Imports: []string{tt.imports}}
			if tt.test {
				p.Imports, p.XTestImports = nil, []string{tt.pkg, tt.imports}
			}
			got := slices.Concat(arrowComplaints(p), libraryComplaints(p))
			if tt.want == "" {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Contains(t, got[0], tt.want)
		})
	}

	p := listed{ImportPath: "fillmark/notify", Imports: []string{"fmt", "fillmark/loops", "mail.example/x/smtp", "mail.example/y"}}
	got := undecided([]listed{p}, "- `mail.example/x`: because")
	require.Len(t, got, 1)
	assert.Contains(t, got[0], "mail.example/y")
	assert.Equal(t, []string{"mail.example/z"}, unimported([]listed{p}, "| `mail.example/x` | sends |\n| `mail.example/z` | nothing |\n"))
}
