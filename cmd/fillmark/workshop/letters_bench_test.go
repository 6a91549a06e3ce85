// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package workshop_test

import (
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

const leaving = 1000 // letters

// BenchmarkLettersLeave sets the whole way of a reminder, from the register to
// Postfix's smtp-sink, beside what it is made of, each alone in the same run: the
// judging and the signing on all processors, the commits in waves of 32, the
// transport over one session. "As written" leaves the judging out. A ratio of 2
// means that the way takes twice as long, cpu that it takes twice the processor's
// time.
func BenchmarkLettersLeave(b *testing.B) {
	for _, judged := range []bool{true, false} {
		name := "as written"
		if judged {
			name = "judged"
		}
		b.Run(name, func(b *testing.B) {
			m := meter{b: b, took: map[string]time.Duration{}, used: map[string]time.Duration{}}
			for b.Loop() {
				m.way(judged)
			}
			b.ReportMetric(leaving*float64(b.N)/m.took["way"].Seconds(), "letters/s")
			for _, part := range []string{"judging", "signing", "commits", "transport"} {
				if m.took[part] > 0 {
					b.ReportMetric(m.took["way"].Seconds()/m.took[part].Seconds(), "way/"+part)
				}
			}
			b.ReportMetric(m.used["way"].Seconds()/m.used["signing"].Seconds(), "cpu-way/signing")
		})
	}
}

// meter adds up what takes how long.
type meter struct {
	b          *testing.B
	took, used map[string]time.Duration
}

func (m meter) measure(part string, do func()) {
	began, used := time.Now(), seeded.ProcessorTime(m.b)
	do()
	m.took[part] += time.Since(began)
	m.used[part] += seeded.ProcessorTime(m.b) - used
}

// way measures the parts, and then the whole with the same letters.
func (m meter) way(judged bool) {
	b := m.b
	day := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	stamp := workshop.Stamp{At: day.At(9, time.UTC), By: "bench"}
	address := peer.StartSink(b, "-d", "/dev/null")
	key, err := signingKey()
	require.NoError(b, err)
	signer, err := notify.NewSigner("test.example", "fm", key)
	require.NoError(b, err)
	relay, err := notify.NewRelay(notify.RelayOptions{Address: address, HelloName: "bench.test.example", Security: notify.Plain})
	require.NoError(b, err)
	queued := func() (bench, []loops.Message) {
		w := benchRegister(b, leaving, leaving, day)
		_, err := w.Sweep(stamp)
		require.NoError(b, err)
		all, err := w.store.NextQueued(stamp.At, leaving)
		require.NoError(b, err)
		require.Len(b, all, leaving)
		return w, all
	}

	w, all := queued()
	m.measure("commits", func() {
		var arrived []loops.Arrival
		for i := 0; i < leaving; i += 32 {
			var wave []loops.Attempt
			for _, l := range all[i:min(i+32, leaving)] {
				wave = append(wave, loops.Attempt{Message: l, Next: stamp.At.Add(time.Hour)})
			}
			left, err := w.store.MarkAttempts(wave, loops.StoreRevision{}, stamp.At, arrived...)
			require.NoError(b, err)
			arrived = nil
			for _, l := range wave {
				arrived = append(arrived, loops.Arrival{Key: l.Key, Claim: left.Write})
			}
		}
		for _, a := range arrived {
			require.NoError(b, w.store.MarkDelivered(stamp.At, a.Claim, a.Key))
		}
	})

	w, all = queued()
	if judged {
		m.measure("judging", func() {
			onAll(all, func(l loops.Message) {
				if _, err := w.Review(l, stamp.At); err != nil {
					b.Error(err)
				}
			})
		})
	}
	m.measure("signing", func() {
		onAll(all, func(l loops.Message) {
			if _, err := signer.Sign(l.Raw); err != nil {
				b.Error(err)
			}
		})
	})
	m.measure("transport", func() {
		for _, l := range all {
			require.NoError(b, relay.Send(b.Context(), notify.Envelope{From: l.From, To: l.To}, l.Raw))
		}
		relay.End()
	})
	d, err := notify.NewDeliverer(w.store, nil, signer, relay, notify.DefaultRetryPlan(), nil)
	if judged {
		d, err = notify.NewDeliverer(w.store, w, signer, relay, notify.DefaultRetryPlan(), nil)
	}
	require.NoError(b, err)
	m.measure("way", func() {
		report, err := d.Deliver(b.Context(), stamp.At)
		require.NoError(b, err)
		require.Equal(b, leaving, report.Delivered)
	})
}

// onAll does it with every letter, on all processors.
func onAll(all []loops.Message, do func(loops.Message)) {
	var next atomic.Int64
	var busy sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		busy.Go(func() {
			for n := next.Add(1) - 1; n < int64(len(all)); n = next.Add(1) - 1 {
				do(all[n])
			}
		})
	}
	busy.Wait()
}
