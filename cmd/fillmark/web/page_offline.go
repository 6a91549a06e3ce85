// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"runtime/debug"

	"fillmark/loops"
)

// workerScript keeps job sheets on a device for when there is no connection.
//
//go:embed worker.js
var workerScript []byte

// readBuild tells one build of the pages from another: what is kept of one is
// not shown by the next.
func readBuild() (string, error) {
	sum := sha256.New()
	sum.Write(workerScript)
	if info, ok := debug.ReadBuildInfo(); ok {
		sum.Write([]byte(info.String()))
	}
	for _, files := range []fs.FS{templateFiles, staticFiles} {
		err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			content, err := fs.ReadFile(files, name)
			sum.Write([]byte(name))
			sum.Write(content)
			return err
		})
		if err != nil {
			return "", fmt.Errorf("build: %w", err)
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:8]), nil
}

// worker serves the service worker. It lies at the root, since a worker is in
// charge of what lies beside and below it, and begins with the build and what our
// labels say: a browser takes a new worker where one byte of it is another.
func (s *server) worker(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	hosts, err := json.Marshal(s.ownHosts())
	if err != nil {
		return err
	}
	below, err := json.Marshal(s.labelsBelow())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "const build = %q;\nconst hosts = %s;\nconst below = %s;\n%s", s.pages.build, hosts, below, workerScript)
	return err
}

// offlinePage stands in for a page that is not kept while there is no
// connection. It names nobody: it is kept beyond the sign-out.
type offlinePage struct{ frame }

func (s *server) pageOffline(w http.ResponseWriter, r *http.Request) error {
	p := offlinePage{s.newFrame(r, "Not connected")}
	p.Door = true
	return s.render(w, http.StatusOK, "offline", p)
}

// asOf is the moment that a page is made, as it is said beside what is shown
// later: "Thu 3 Dec 2026, 09:40".
func (s *server) asOf() string {
	zone := s.Workshop.Settings().Zone
	return loops.DayOf(s.Now(), zone).Long() + ", " + s.Now().In(zone).Format("15:04")
}
