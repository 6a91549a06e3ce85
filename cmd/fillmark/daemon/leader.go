// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"fillmark/loops"
	"fillmark/loops/store"
)

const (
	// leadEvery is how often the daemon that leads says so, and the others look.
	leadEvery = 10 * time.Second
	// leadPatience is for how long it may say nothing before another leads, by that
	// one's own watch: what either clock shows matters to nobody.
	leadPatience = time.Minute
)

// leader knows whether this daemon does what must happen once, of all that have
// one database open. The daemon on a file has none, and always does.
type leader struct {
	register *store.Store
	holder   string // this process
	every    time.Duration
	patience time.Duration
	number   atomic.Uint64 // under which this one leads, or led last

	mu      sync.Mutex
	seen    loops.Lead
	since   time.Time // when it was first seen so
	renewed time.Time // when this one said last that it leads; zero while it does not
}

func newLeader(register *store.Store) *leader {
	host, err := os.Hostname()
	if err != nil {
		host = "a daemon"
	}
	return &leader{register: register, holder: host + " " + rand.Text()[:8], every: leadEvery, patience: leadPatience}
}

// leads tells whether this daemon does now what must happen once. One that was not
// heard of for half the patience of the others leaves off by itself; where it could
// not know better, the register refuses what it writes.
func (l *leader) leads() bool {
	if l == nil {
		return true
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return !l.renewed.IsZero() && time.Since(l.renewed) < l.patience/2
}

// other is the holder that was heard of last, where it is not this process.
func (l *leader) other() string {
	if l == nil {
		return ""
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.seen.Holder == l.holder {
		return ""
	}
	return l.seen.Holder
}

// beat says that this daemon lives, where it leads, and takes over from one that
// does not. Where it begins to lead it runs start first, and leads only if that
// succeeds. It tells whether it begins to lead with this beat. One beat runs at a
// time; the register is asked without the lock, so that nobody who asks waits for it.
func (l *leader) beat(start func() error) (begins bool, err error) {
	is, err := l.register.Leader()
	if err != nil {
		return false, err
	}
	seen, overdue := l.look(is)
	if is.Holder == l.holder || is.Holder == "" || overdue {
		if is, err = l.register.Lead(l.holder, seen, overdue); err != nil {
			return false, err
		}
		l.look(is)
	}
	if is.Holder != l.holder {
		l.keep(time.Time{})
		return false, nil
	}
	// Another one may have led in between, without this one having noticed.
	begins = !l.led() || is.Number != l.number.Load()
	if begins {
		l.keep(time.Time{})
		if err := start(); err != nil {
			return false, err
		}
	}
	l.number.Store(is.Number)
	l.keep(time.Now())
	return begins, nil
}

// look takes down who leads, and tells what is known of it now and whether that
// one was not heard of for longer than the patience.
func (l *leader) look(is loops.Lead) (seen loops.Lead, overdue bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if is != l.seen {
		l.seen, l.since = is, time.Now()
	}
	return l.seen, time.Since(l.since) > l.patience
}

func (l *leader) keep(renewed time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.renewed = renewed
}

// led tells whether the last beat that was heard said that this daemon leads.
func (l *leader) led() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return !l.renewed.IsZero()
}

// keepLead beats until the context ends, and then lets another daemon lead.
func (h *Service) keepLead(ctx context.Context, log *slog.Logger) {
	if h.lead == nil {
		return
	}
	every := time.NewTicker(h.lead.every)
	defer every.Stop()
	for {
		h.lookWhoLeads(log)
		select {
		case <-ctx.Done():
			if err := h.lead.register.EndLead(h.lead.holder); err != nil && !loops.NoWrite(err) {
				log.Error("another daemon leads only in a minute", "error", err)
			}
			return
		case <-every.C:
		}
	}
}

// lookWhoLeads beats once. Who begins to lead goes on from what the one before has
// put down.
func (h *Service) lookWhoLeads(log *slog.Logger) {
	led := h.lead.leads()
	begins, err := h.lead.beat(h.Alarms.Recall)
	switch leads := h.lead.leads(); {
	case err != nil && !loops.NoWrite(err):
		log.Error("it cannot be found out which daemon leads", "error", err)
	case begins:
		log.Info("this daemon leads: it sweeps, reads mail and tells alarms")
		h.poke()
	case led && !leads:
		log.Warn("another daemon leads now")
	}
}

// notOvertaken passes over what another daemon does by now: nothing was changed.
func notOvertaken(err error) error {
	if errors.Is(err, loops.ErrOvertaken) {
		return nil
	}
	return err
}
