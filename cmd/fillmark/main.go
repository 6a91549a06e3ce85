// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Command fillmark keeps every refilled cooling loop on schedule: what is in
// it, what it needs and when, and what opened loops have taught.
//
// This package holds the commands and the wiring: it reads the clock, the
// configuration and the keys, opens the store, and gives everything else what
// it needs. Commands that touch the register are thin: they send one request
// to the handler of package web, over the daemon's Unix socket or in process.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // due days must be right on machines without zone files
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}
