// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"cmp"
	"errors"
	"flag"
	"maps"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/testdata/seeded"
)

// mailHistory is a bench, its relay and what the relay had, by Message-ID.
type mailHistory struct {
	bench
	relay  *relay
	mail   *notify.Deliverer
	now    time.Time
	had    map[string]arrived
	unsure map[string]bool // the relay hung up on it
}

// mailHistories sets how many random histories there are, and their seed: twenty,
// or by FILLMARK_CAMPAIGN=full ten thousand or as many as FILLMARK_HISTORIES says.
// FILLMARK_CAMPAIGN_SEED repeats a run. The flags are rapid's, so it is for a test
// that runs by itself.
func mailHistories(t *testing.T) {
	t.Helper()
	set := map[string]string{"rapid.checks": "20", "rapid.seed": strconv.FormatUint(max(1, seeded.Seed(t)), 10)}
	if testing.Short() {
		set["rapid.checks"] = "100" // of which rapid then makes a fifth
	}
	if seeded.Long() {
		set["rapid.checks"] = cmp.Or(os.Getenv("FILLMARK_HISTORIES"), "10000")
	}
	for name, value := range set {
		was := flag.Lookup(name).Value.String()
		require.NoError(t, flag.Set(name, value))
		t.Cleanup(func() { require.NoError(t, flag.Set(name, was)) })
	}
}

// TestCampaignHistoriesOfMail lets anything happen in any order, with a relay that
// takes mail, puts it off, refuses it or hangs up: nothing leaves that is not so
// by the register, and one letter has one form for ever.
func TestCampaignHistoriesOfMail(t *testing.T) {
	mailHistories(t)
	path, loop, start := oneWaiting(t)
	all := happens(t, loop)
	names := slices.Sorted(maps.Keys(all))
	r := startRelay(t)
	histories := 0
	defer func() { t.Logf("%d histories of 3 to 12 steps", histories) }()
	rapid.Check(t, func(rt *rapid.T) {
		histories++
		r.set("")
		r.take()
		b := copyOf(t, path)
		defer func() { require.NoError(rt, errors.Join(b.store.Close(), os.Remove(b.store.Path()))) }()
		h := mailHistory{bench: b, relay: r, mail: b.delivererTo(rt, r), now: start, had: map[string]arrived{}, unsure: map[string]bool{}}
		for range rapid.IntRange(3, 12).Draw(rt, "steps") {
			switch rapid.IntRange(0, 5).Draw(rt, "step") {
			case 0, 1:
				what := rapid.SampledFrom(names).Draw(rt, "happens")
				if err := all[what](b, h.stamp()); err != nil {
					rt.Logf("%s: %v", what, err) // what cannot be done changes nothing
				}
			case 2:
				h.now = h.now.Add(time.Duration(rapid.IntRange(1, 21*24).Draw(rt, "hours")) * time.Hour)
			case 3:
				_, err := b.Sweep(h.stamp())
				require.NoError(rt, err)
			default:
				h.deliver(t, rt, rapid.SampledFrom([]string{"", "", "hang up", "hang up", "defer", "refuse"}).Draw(rt, "relay"))
			}
			h.now = h.now.Add(time.Minute)
		}
		h.now = h.now.Add(4 * time.Hour)
		h.deliver(t, rt, "")
	})
}

func (h *mailHistory) stamp() workshop.Stamp { return workshop.Stamp{At: h.now, By: "test"} }

// deliver delivers what waits, once, and holds what arrived to the register.
func (h *mailHistory) deliver(t *testing.T, rt *rapid.T, does string) {
	h.relay.set(does)
	_, err := h.mail.Deliver(t.Context(), h.now)
	require.NoError(rt, err)
	h.relay.set("")
	for _, mail := range h.relay.take() {
		require.Empty(rt, contradictions(rt, h.bench, mail, h.now), "%s", mail.raw)
		id := idOf.FindStringSubmatch(mail.raw)[1]
		if before, ok := h.had[id]; ok {
			require.True(rt, h.unsure[id], "a letter that was taken leaves once")
			require.Equal(rt, before, mail, "one letter has one form")
		}
		h.had[id], h.unsure[id] = mail, does == "hang up"
	}
	for m, err := range h.store.Messages("") {
		require.NoError(rt, err)
		if m.To == "" {
			continue // its owner was erased, and all that it said with them
		}
		switch m.Status {
		case loops.Withdrawn:
			require.NotEmpty(rt, m.Note)
		case loops.Delivered:
			whole, err := h.store.Message(m.Key)
			require.NoError(rt, err)
			require.Contains(rt, string(whole.Raw), "Message-ID: "+m.MessageID+"\r\n")
		}
	}
	report, err := h.store.Check(t.Context())
	require.NoError(rt, err)
	require.Empty(rt, report.Problems)
}
