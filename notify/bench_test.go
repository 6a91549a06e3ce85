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
	source := peer.Program(b, "/usr/sbin/smtp-source")
	raw := bytes.Repeat([]byte("Subject: x\r\n"), 340) // 4 KB, as the shorter letters are
	raw = append([]byte("From: a@b.example\r\n\r\n"), raw...)
	for _, sessions := range []int{1, 4} {
		b.Run(fmt.Sprintf("%d sessions", sessions), func(b *testing.B) {
			address := peer.StartSink(b, "-d", "/dev/null")
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
