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
	if l == nil || l.leads() {
		return ""
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.seen.Holder
}

// beat says that this daemon lives, where it leads, and takes over from one that
// does not. It tells whether it begins to lead with this beat.
func (l *leader) beat() (begins bool, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	is, err := l.register.Leader()
	if err != nil {
		return false, err
	}
	if is != l.seen {
		l.seen, l.since = is, time.Now()
	}
	overdue := time.Since(l.since) > l.patience
	if is.Holder == l.holder || is.Holder == "" || overdue {
		if is, err = l.register.Lead(l.holder, l.seen, overdue); err != nil {
			return false, err
		}
		l.seen, l.since = is, time.Now()
	}
	if is.Holder != l.holder {
		l.renewed = time.Time{}
		return false, nil
	}
	begins = l.renewed.IsZero()
	l.renewed = time.Now()
	l.number.Store(is.Number)
	return begins, nil
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
	begins, err := h.lead.beat()
	if err == nil && begins {
		err = h.Alarms.Recall()
	}
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
