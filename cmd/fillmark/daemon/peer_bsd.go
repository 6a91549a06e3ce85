// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build darwin || freebsd

package daemon

import (
	"strconv"

	"golang.org/x/sys/unix"
)

// peerUser is the number of the user at the other end of a Unix socket.
func peerUser(socket uintptr) (id string, ok bool) {
	peer, err := unix.GetsockoptXucred(int(socket), unix.SOL_LOCAL, unix.LOCAL_PEERCRED)
	if err != nil {
		return "", false
	}
	return strconv.FormatUint(uint64(peer.Uid), 10), true
}
