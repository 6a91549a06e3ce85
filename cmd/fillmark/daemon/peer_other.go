// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !linux && !darwin && !freebsd

package daemon

// peerUser tells nothing: this system does not say who is at the other end of
// a Unix socket.
func peerUser(uintptr) (id string, ok bool) { return "", false }
