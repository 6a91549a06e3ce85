// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package notify_test

import (
	"bytes"
	"fmt"
	"os/exec"
	"regexp"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// The benchmarks here run both sides of a comparison by turns in one run and
// report the ratio: what the machine does besides hits both.

const transportMails = 2000

// BenchmarkTransport sets the transport alone beside Postfix's smtp-source: the
// same smtp-sink, the same size, one session and four. A ratio above 1 means
// that smtp-source is faster.
func BenchmarkTransport(b *testing.B) {
	sink, source := peer.Program(b, "/usr/sbin/smtp-sink"), peer.Program(b, "/usr/sbin/smtp-source")
	raw := bytes.Repeat([]byte("Subject: x\r\n"), 340) // 4 KB, as the shorter letters are
	raw = append([]byte("From: a@b.example\r\n\r\n"), raw...)
	for _, sessions := range []int{1, 4} {
		b.Run(fmt.Sprintf("%d sessions", sessions), func(b *testing.B) {
			address := startSinkQuiet(b, sink)
			var ours, theirs time.Duration
			for b.Loop() {
				begin := time.Now()
				var all sync.WaitGroup
				for range sessions {
					relay := relayTo(b, notify.RelayOptions{Address: address})
					all.Go(func() {
						defer relay.End()
						for range transportMails / sessions {
							if err := relay.Send(b.Context(), env, raw); err != nil {
								b.Error(err)
								return
							}
						}
					})
				}
				all.Wait()
				ours += time.Since(begin)
				begin = time.Now()
				out, err := exec.Command(source, "-d", "-s", strconv.Itoa(sessions), "-m", strconv.Itoa(transportMails), "-l", strconv.Itoa(len(raw)),
					"-f", env.From, "-t", env.To, address).CombinedOutput()
				require.NoError(b, err, string(out))
				theirs += time.Since(begin)
			}
			b.ReportMetric(transportMails*float64(b.N)/ours.Seconds(), "mails/s")
			b.ReportMetric(transportMails*float64(b.N)/theirs.Seconds(), "smtp-source/s")
			b.ReportMetric(ours.Seconds()/theirs.Seconds(), "ratio")
		})
	}
}

// startSinkQuiet runs a sink that keeps nothing.
func startSinkQuiet(b *testing.B, sink string) string {
	b.Helper()
	return startSink(b, sink, b.TempDir(), "-d", "/dev/null")
}

// BenchmarkSignBesideOpenSSL sets a signature over a letter beside the bare RSA
// operation of OpenSSL with a key of the same size. A ratio of 2 means that a
// signature takes twice as long.
func BenchmarkSignBesideOpenSSL(b *testing.B) {
	openssl := peer.Program(b, "/usr/bin/openssl")
	s, _ := newSigner(b)
	raw := composed(b)
	out, err := exec.Command(openssl, "speed", "-seconds", "1", "rsa2048").CombinedOutput()
	require.NoError(b, err)
	found := regexp.MustCompile(`rsa 2048 bits\s+(\d+\.\d+)s`).FindSubmatch(out)
	require.NotNil(b, found, string(out))
	bare, err := strconv.ParseFloat(string(found[1]), 64)
	require.NoError(b, err)
	// OpenSSL reports processor time, so that is what counts here too.
	begin := seeded.ProcessorTime(b)
	for b.Loop() {
		if _, err := s.Sign(raw); err != nil {
			b.Fatal(err)
		}
	}
	each := (seeded.ProcessorTime(b) - begin).Seconds() / float64(b.N)
	b.ReportMetric(bare*1e3, "openssl-ms")
	b.ReportMetric(each/bare, "ratio")
}

const pathMails = 200

// BenchmarkOutbox sets the whole way of a mail from the register, signed, to the
// relay beside two commits for each, which waves of mails share. A ratio of 2
// means that the way takes as long again as these would.
func BenchmarkOutbox(b *testing.B) {
	sink := peer.Program(b, "/usr/sbin/smtp-sink")
	address := startSinkQuiet(b, sink)
	signer, _ := newSigner(b)
	var whole, commits time.Duration
	for b.Loop() {
		s, err := store.Open(fillOutbox(b, pathMails, 4000, nil), store.Options{})
		require.NoError(b, err)
		d, err := notify.NewDeliverer(s, nil, signer, relayTo(b, notify.RelayOptions{Address: address}), notify.DefaultRetryPlan(), nil)
		require.NoError(b, err)
		begin := time.Now()
		rep, err := d.Deliver(b.Context(), sent)
		whole += time.Since(begin)
		require.NoError(b, err)
		require.Equal(b, pathMails, rep.Delivered)
		require.NoError(b, s.Close())

		s, err = store.Open(fillOutbox(b, pathMails, 4000, nil), store.Options{})
		require.NoError(b, err)
		due, err := s.NextQueued(sent, pathMails)
		require.NoError(b, err)
		begin = time.Now()
		for _, m := range due {
			left, err := s.MarkAttempts([]loops.Attempt{{Message: m, Next: sent.Add(time.Hour)}}, loops.StoreRevision{}, sent)
			require.NoError(b, err)
			require.NoError(b, s.MarkDelivered(sent, left.Write, m.Key))
		}
		commits += time.Since(begin)
		require.NoError(b, s.Close())
	}
	b.ReportMetric(pathMails*float64(b.N)/whole.Seconds(), "mails/s")
	b.ReportMetric(whole.Seconds()/commits.Seconds(), "ratio")
}
