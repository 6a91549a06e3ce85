// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"golang.org/x/sys/windows/svc"
	"golang.org/x/sys/windows/svc/eventlog"
)

// serviceName is what the service is created as, and the source of its events.
const serviceName = "fillmark"

// supervised runs the command line, as a service where the service control
// manager started this process. What it would write on a terminal goes to the
// event log then.
func supervised(ctx context.Context, stderr io.Writer, run func(context.Context, io.Writer) int) int {
	if is, err := svc.IsWindowsService(); err != nil || !is {
		return run(ctx, stderr)
	}
	events, err := eventlog.Open(serviceName)
	if err != nil {
		return 1 // there is nobody to tell
	}
	code := 1
	err = svc.Run(serviceName, service{ctx, func(ctx context.Context) int {
		code = run(ctx, eventWriter{events})
		return code
	}})
	if err = errors.Join(err, events.Close()); err != nil {
		fmt.Fprintln(stderr, "fillmark: service:", err)
		return 1
	}
	return code
}

// service is what the manager starts and stops.
type service struct {
	ctx context.Context
	run func(context.Context) int
}

// Execute runs until the manager asks to stop or the run ends by itself, whose
// exit status it hands on.
func (s service) Execute(_ []string, requests <-chan svc.ChangeRequest, status chan<- svc.Status) (bool, uint32) {
	ctx, stop := context.WithCancel(s.ctx)
	defer stop()
	ended := make(chan int, 1)
	go func() { ended <- s.run(ctx) }()
	now := svc.Status{State: svc.Running, Accepts: svc.AcceptStop | svc.AcceptShutdown}
	status <- now
	for {
		select {
		case code := <-ended:
			return true, uint32(code)
		case asked := <-requests:
			if asked.Cmd == svc.Stop || asked.Cmd == svc.Shutdown {
				now = svc.Status{State: svc.StopPending}
				stop()
			}
			status <- now
		}
	}
}

// eventWriter makes an event of each line of the log.
type eventWriter struct{ log *eventlog.Log }

func (w eventWriter) Write(line []byte) (int, error) { return len(line), w.log.Info(1, string(line)) }
