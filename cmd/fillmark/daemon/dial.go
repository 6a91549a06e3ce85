// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
)

// ErrStranger says that somebody else answers on the socket beside the register.
var ErrStranger = errors.New("somebody else answers where the daemon should")

// Dial connects to the daemon of the register. Where the system tells who
// answers it has to be the user, or root; root itself takes the owner of the
// register's folder. A socket that anybody made in a shared folder is
// [ErrStranger], before anything is said to it.
func (c Config) Dial(ctx context.Context) (net.Conn, error) {
	var d net.Dialer
	conn, err := d.DialContext(ctx, "unix", c.Socket())
	if err != nil {
		return nil, err
	}
	if who, told := peerOf(conn); told && !c.mayAnswer(who) {
		return nil, errors.Join(fmt.Errorf("%s: %w: user %s; a register in a folder that only you write to is right", c.Socket(), ErrStranger, who), conn.Close())
	}
	return conn, nil
}

// peerOf is the number of the user at the other end, as far as the system
// tells.
func peerOf(conn net.Conn) (id string, told bool) {
	unixConn, ok := conn.(*net.UnixConn)
	if !ok {
		return "", false
	}
	raw, err := unixConn.SyscallConn()
	if err != nil {
		return "", false
	}
	_ = raw.Control(func(fd uintptr) { id, told = peerUser(fd) }) // not told where it fails
	return id, told
}

func (c Config) mayAnswer(who string) bool {
	me := os.Getuid()
	if who == strconv.Itoa(me) || who == "0" {
		return true
	}
	owner, known := folderOwner(c.Beside())
	return me == 0 && known && who == owner
}
