// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"path/filepath"
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
	schema := func() string {
		name := fmt.Sprint("shop", schemas.Add(1))
		server.MakeSchema(t, name)
		return server.Address("&search_path=" + name)
	}
	params := scripts()
	params.Files = []string{"testdata/database/job.txtar", "testdata/script/gate_release.txtar", "testdata/script/calendar.txtar"}
	setup := params.Setup
	params.Setup = func(env *testscript.Env) error {
		env.Setenv("FILLMARK_FOLDER", filepath.Join(env.WorkDir, "data"))
		env.Setenv("OTHER", schema())
		err := setup(env)
		env.Setenv("FILLMARK_STORE", schema())
		return err
	}
	testscript.Run(t, params)
}
