// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"fillmark/testdata/peer"
)

// TestScriptsInADatabase runs the main job, and scripts that know no file, with the
// register in a PostgreSQL, each in schemas of its own.
func TestScriptsInADatabase(t *testing.T) {
	t.Parallel()
	server := peer.StartPostgres(t)
	var schemas atomic.Int32
	schema := func() (name, address string) {
		name = fmt.Sprint("shop", schemas.Add(1))
		server.MakeSchema(t, name)
		return name, server.Address("&search_path=" + name)
	}
	params := scripts()
	params.Files = []string{"testdata/database/job.txtar", "testdata/script/gate_release.txtar", "testdata/script/calendar.txtar"}
	setup := params.Setup
	params.Setup = func(env *testscript.Env) error {
		env.Setenv("FILLMARK_FOLDER", filepath.Join(env.WorkDir, "data"))
		_, other := schema()
		name, address := schema()
		err := setup(env)
		for key, value := range map[string]string{
			"OTHER": other, "FILLMARK_STORE": address, "SCHEMA": name, "PGHOST": server.Dir, "PGUSER": "bench",
			"DRILL": strings.Replace(address, ":///postgres?", ":///drill?", 1),
		} {
			env.Setenv(key, value)
		}
		return err
	}
	testscript.Run(t, params)
}
