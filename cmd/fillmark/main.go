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
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // due days must be right on machines without zone files

	"fillmark/cmd/fillmark/cli"
	"fillmark/loops/photos"
)

func main() { os.Exit(runOn(time.Now)) }

// runOn runs the command line of this process on a clock.
func runOn(now func() time.Time) int {
	if photos.InCell(os.Environ()) { // one photo is read, and nothing else done
		return photos.Serve(os.Stdin, os.Stdout)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return supervised(ctx, os.Stderr, func(ctx context.Context, stderr io.Writer) int {
		return cli.Run(ctx, now, os.Args[1:], os.Environ(), os.Stdin, os.Stdout, stderr)
	})
}
