// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	system "github.com/coreos/go-systemd/v22/daemon"

	"fillmark/notify"
)

// heart counts the signs of life of the loop that sweeps and delivers.
type heart struct{ beats atomic.Uint64 }

func (h *heart) beat() { h.beats.Add(1) }

const (
	// beatEvery is how often the loop beats while it waits.
	beatEvery = 5 * time.Second
	// longestStep is more than any one step of the loop takes: a conversation
	// with the relay is cut off after twenty minutes.
	longestStep = 25 * time.Minute
)

// beating is a transport that beats at every step, so that a long queue of mail
// is no standstill.
type beating struct {
	transport
	heart *heart
}

func (b beating) Open(ctx context.Context) error {
	defer b.heart.beat()
	return b.transport.Open(ctx)
}

func (b beating) Send(ctx context.Context, env notify.Envelope, raw []byte) error {
	defer b.heart.beat()
	return b.transport.Send(ctx, env, raw)
}

// keepAlive says at each tick that the program lives, as long as the loop beats:
// once it was silent for the time allowed it says so no more, and whoever watches
// the program starts it again.
func (h *heart) keepAlive(ctx context.Context, ticks <-chan time.Time, step, allowed time.Duration, alive func(), silent func()) {
	last, quiet := h.beats.Load(), time.Duration(0)
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticks:
		}
		if now := h.beats.Load(); now != last {
			last, quiet = now, 0
		} else {
			quiet += step
		}
		switch {
		case quiet < allowed:
			alive()
		case quiet < allowed+step:
			silent()
		}
	}
}

// tellSystem tells systemd, where it started the program, how it stands
// (sd_notify). What it cannot be told it will find out.
func tellSystem(log *slog.Logger, state string) {
	if _, err := system.SdNotify(false, state); err != nil {
		log.Warn("systemd cannot be told how the program stands", "state", state, "error", err)
	}
}

// watchdog keeps systemd's watchdog quiet while the loop beats, where the unit
// sets one.
func (h *Service) watchdog(ctx context.Context, log *slog.Logger) {
	within, err := system.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the watchdog of systemd cannot be used", "error", err)
	}
	if within <= 0 {
		return
	}
	step := within / 3
	every := time.NewTicker(step)
	defer every.Stop()
	h.heart.keepAlive(ctx, every.C, step, longestStep, func() { tellSystem(log, system.SdNotifyWatchdog) }, func() {
		log.Error("the loop that sweeps and delivers stands still; systemd is left to start the program again", "for", longestStep)
	})
}
