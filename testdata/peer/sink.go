// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package peer

import (
	"net"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// StartSink runs Postfix's smtp-sink, which takes mail, with these flags, and
// returns its address.
func StartSink(t testing.TB, flags ...string) string {
	t.Helper()
	sink := Program(t, "/usr/sbin/smtp-sink")
	address := free(t)
	if os.Geteuid() == 0 {
		flags = append([]string{"-u", "root"}, flags...)
	}
	cmd := exec.Command(sink, append(flags, address, "10")...)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	require.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", address)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	}, 5*time.Second, 10*time.Millisecond)
	return address
}
