// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package peer

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// Postgres is a real PostgreSQL with a folder and a Unix socket of its own, and
// trust in whoever reaches it.
type Postgres struct {
	Dir      string // where its socket is
	programs string // the folder of them
}

// StartPostgres runs one until the test ends.
func StartPostgres(t testing.TB) *Postgres {
	t.Helper()
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/pg_ctl")
	if len(found) == 0 {
		Missing(t, "PostgreSQL", fmt.Errorf("no /usr/lib/postgresql/*/bin/pg_ctl %w", err))
	}
	dir, err := os.MkdirTemp("/tmp", "fm-pg-") // its socket needs a short path, and its user must reach it
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	p := &Postgres{dir, filepath.Dir(slices.Max(found))}
	t.Cleanup(func() {
		if t.Failed() {
			log, _ := os.ReadFile(filepath.Join(dir, "log"))
			t.Log(string(log))
		}
		require.NoError(t, os.RemoveAll(dir))
	})
	p.Own(t, dir)
	p.run(t, "initdb", "--pgdata="+p.data(), "--auth=trust", "--username=bench", "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync")
	config, err := os.OpenFile(filepath.Join(p.data(), "postgresql.conf"), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = fmt.Fprintf(config, "listen_addresses = ''\nunix_socket_directories = '%s'\nfsync = off\nmax_connections = 90\nshared_buffers = 16MB\n", dir)
	require.NoError(t, err)
	require.NoError(t, config.Close())
	p.Start(t)
	t.Cleanup(func() { p.Stop(t) })
	return p
}

// Guard has it reached over the network too, by TLS alone and with a password: at
// 127.0.0.1 and the port that it returns. The file is its certificate.
func (p *Postgres) Guard(t testing.TB, password string) (port int, certificateFile string) {
	t.Helper()
	_, text, err := net.SplitHostPort(free(t))
	require.NoError(t, err)
	port, err = strconv.Atoi(text)
	require.NoError(t, err)
	certificate, key := SelfSigned(t, "database.example")
	certificateFile = filepath.Join(p.Dir, "server.crt")
	for name, content := range map[string][]byte{
		certificateFile: certificate, filepath.Join(p.Dir, "server.key"): key,
		filepath.Join(p.data(), "pg_hba.conf"): []byte("local all all trust\nhostssl all all 127.0.0.1/32 scram-sha-256\n"),
	} {
		require.NoError(t, os.WriteFile(name, content, 0o600))
		p.Own(t, name)
	}
	p.run(t, "psql", "--no-psqlrc", "--quiet", "--host="+p.Dir, "--username=bench", "--dbname=postgres",
		"--command=SET password_encryption = 'scram-sha-256'", "--command=ALTER ROLE bench PASSWORD '"+password+"'",
		"--command=ALTER SYSTEM SET listen_addresses = '127.0.0.1'", fmt.Sprintf("--command=ALTER SYSTEM SET port = %d", port),
		"--command=ALTER SYSTEM SET ssl = on", "--command=ALTER SYSTEM SET ssl_cert_file = '"+certificateFile+"'",
		"--command=ALTER SYSTEM SET ssl_key_file = '"+filepath.Join(p.Dir, "server.key")+"'")
	p.Stop(t)
	p.Start(t)
	return port, certificateFile
}

// Own makes a folder that of its user: another than root, which its programs refuse.
func (p *Postgres) Own(t testing.TB, dir string) {
	t.Helper()
	if os.Geteuid() != 0 {
		return
	}
	nobody, err := user.Lookup("nobody")
	require.NoError(t, err)
	id, err := strconv.Atoi(nobody.Uid)
	require.NoError(t, err)
	require.NoError(t, os.Chown(dir, id, -1))
}

// Start starts one that was stopped.
func (p *Postgres) Start(t testing.TB) {
	t.Helper()
	p.run(t, "pg_ctl", "start", "--wait", "--timeout=300", "--pgdata="+p.data(), "--log="+filepath.Join(p.Dir, "log"))
}

// Stop ends it at once, as a crash does.
func (p *Postgres) Stop(t testing.TB) {
	t.Helper()
	p.run(t, "pg_ctl", "stop", "--wait", "--timeout=300", "--mode=immediate", "--pgdata="+p.data())
}

// Address is that of its database, with what else the client is to say.
func (p *Postgres) Address(options string) string {
	return fmt.Sprintf("postgres:///postgres?host=%s&user=bench%s", p.Dir, options)
}

// MakeSchema makes a schema, for "&search_path=NAME" in an address.
func (p *Postgres) MakeSchema(t testing.TB, name string) {
	t.Helper()
	p.run(t, "psql", "--no-psqlrc", "--quiet", "--host="+p.Dir, "--username=bench", "--dbname=postgres", "--command=CREATE SCHEMA "+name)
}

func (p *Postgres) data() string { return filepath.Join(p.Dir, "data") }

// run runs one of its programs, which refuse to be run by root.
func (p *Postgres) run(t testing.TB, name string, args ...string) {
	t.Helper()
	program, args := filepath.Join(p.programs, name), args
	if os.Geteuid() == 0 {
		args = append([]string{"--user=nobody", "--", program}, args...)
		program = Program(t, "runuser")
	}
	command := exec.Command(program, args...)
	command.Dir = p.Dir
	said, err := os.Create(filepath.Join(p.Dir, name+".said")) // a pipe would stay open with the server
	require.NoError(t, err)
	command.Stdout, command.Stderr = said, said
	err = command.Run()
	require.NoError(t, said.Close())
	text, _ := os.ReadFile(said.Name())
	require.NoError(t, err, "%s", text)
}
