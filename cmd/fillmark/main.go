// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Command fillmark keeps every refilled cooling loop on schedule: what is in
// it, what it needs and when, and what opened loops have taught.
//
// Its rooms: cli has the commands, daemon the configuration and all that
// stands on an open register, workshop the actions, web the pages and the JSON
// API, signin who may see them, demo an invented workshop.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // due days must be right on machines without zone files

	"fillmark/cmd/fillmark/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := cli.Run(ctx, os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}
