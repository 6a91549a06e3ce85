// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// The reliability campaign: a real register, a sender that is killed again and
// again, a line that is cut at random, and Postfix's smtp-sink at its end. A
// short run is part of every test run; FILLMARK_CAMPAIGN=full takes 5,000 mails
// and at least 100 kills, and FILLMARK_CAMPAIGN_SEED=n draws other points to do
// harm at.

const senderVariable = "FILLMARK_NOTIFY_SENDER" // for the sender: register and relay

const endMark = "this is the end of the letter"

// fillOutbox queues n messages in a new register and returns its path.
func fillOutbox(t testing.TB, n, bytesEach int, pointless func(int) time.Time) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "register.db")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	filler := strings.Repeat(strings.Repeat("x", 70)+"\r\n", bytesEach/72)
	change := loops.Change{At: sent, By: "test", Action: "test"}
	for i := range n {
		key := loops.MessageKey(fmt.Sprintf("0/2026-11-24/reminder/%06d", i))
		raw := "From: bench@tidewater.example\r\nTo: anna@garden.example\r\nDate: Tue, 24 Nov 2026 08:00:00 +0000\r\nSubject: x\r\nMessage-ID: " +
			notify.MessageIDFor("", key, "tidewater.example") + "\r\n\r\n" + filler + endMark + "\r\n"
		m := loops.Message{
			Key: key, Purpose: loops.PurposeReminder, From: "bench@tidewater.example", To: fmt.Sprintf("owner%d@garden.example", i), Subject: "x",
			Raw: []byte(raw), Created: sent, NextAttempt: sent, Status: loops.Queued,
		}
		if pointless != nil {
			m.PointlessAfter = pointless(i)
		}
		if change.Messages = append(change.Messages, m); len(change.Messages) == 250 || i == n-1 {
			require.NoError(t, s.Commit(change))
			change.Messages = nil
		}
	}
	require.NoError(t, s.Close())
	return path
}

// TestCampaignSender is the process that the campaign kills: it delivers until
// the outbox is empty, an hour of simulated time a round.
func TestCampaignSender(t *testing.T) {
	path, address, ok := strings.Cut(os.Getenv(senderVariable), ";")
	if !ok {
		t.Skip("only the campaign starts the sender")
	}
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	relay := relayTo(t, notify.RelayOptions{Address: address, ReplyTimeout: 5 * time.Second})
	d, err := notify.NewDeliverer(s, nil, nil, relay, notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	start := sent
	for m, err := range s.Messages(loops.Queued) {
		require.NoError(t, err)
		if m.NextAttempt.After(start) {
			start = m.NextAttempt // go on where the one before was killed
		}
	}
	for now := start; ; now = now.Add(4 * time.Hour) {
		_, err := d.Deliver(t.Context(), now)
		require.NoError(t, err)
		left, err := s.NextQueued(now.AddDate(1, 0, 0), 1)
		require.NoError(t, err)
		if len(left) == 0 {
			break
		}
	}
	require.NoError(t, s.Close())
}

// line is a proxy to the relay that is cut at random.
type line struct {
	target string
	random *rand.Rand
	mu     sync.Mutex
	cuts   atomic.Int64
	lost   atomic.Int64 // cuts of the reply that accepts a message
	down   atomic.Int64
	// left counts down the messages that pass whole until full is called.
	left atomic.Int64
	full atomic.Pointer[func()]
}

// after calls do once so many more messages have passed whole.
func (l *line) after(messages int64, do func()) {
	l.full.Store(&do)
	l.left.Store(messages)
}

func (l *line) chance(one int) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.random.IntN(one) == 0
}

func (l *line) start(t *testing.T) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var open sync.WaitGroup
	open.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			if l.chance(10) {
				l.down.Add(1) // the relay is not there
				_ = conn.Close()
				continue
			}
			open.Go(func() { l.carry(conn) })
		}
	})
	t.Cleanup(func() {
		_ = listener.Close()
		open.Wait()
	})
	return listener.Addr().String()
}

// carry passes bytes on both ways; now and then it cuts the line where a reply
// should have passed.
func (l *line) carry(client net.Conn) {
	server, err := net.Dial("tcp", l.target)
	if err != nil {
		_ = client.Close()
		return
	}
	var ended atomic.Bool // the last thing the client sent was the end of a message
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 64<<10)
		for {
			n, err := client.Read(buf)
			if err != nil {
				_ = server.Close()
				return
			}
			whole := bytes.HasSuffix(buf[:n], []byte("\r\n.\r\n"))
			ended.Store(whole)
			if whole && l.left.Add(-1) == 0 {
				(*l.full.Load())()
			}
			if _, err := server.Write(buf[:n]); err != nil {
				return
			}
		}
	}()
	buf := make([]byte, 4096)
	for {
		n, err := server.Read(buf)
		if err != nil || l.chance(200) {
			if err == nil {
				l.cuts.Add(1)
				if ended.Load() {
					l.lost.Add(1)
				}
			}
			break
		}
		if _, err := client.Write(buf[:n]); err != nil {
			break
		}
	}
	_ = client.Close()
	_ = server.Close()
	<-done
}

var messageID = regexp.MustCompile(`(?m)^Message-ID: (<[^>]+>)`)

// copies counts what arrived whole, by Message-ID.
func copies(t *testing.T, dir string) map[string]int {
	t.Helper()
	got := map[string]int{}
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, f := range files {
		raw, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		if found := messageID.FindSubmatch(raw); found != nil && bytes.Contains(raw, []byte(endMark)) {
			got[string(found[1])]++
		}
	}
	return got
}

// inDoubt lists the messages that may have left.
func inDoubt(t *testing.T, path string) (all []loops.Message) {
	t.Helper()
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	for m, err := range s.Messages(loops.Queued) {
		require.NoError(t, err)
		if m.Unsure {
			all = append(all, m)
		}
	}
	require.NoError(t, s.Close())
	return all
}

func TestCampaignEveryMailArrives(t *testing.T) {
	mails, wantKills, seed := seeded.Times(300, 5000), seeded.Times(6, 100), seeded.Seed(t)
	dumps := t.TempDir()
	l := &line{target: peer.StartSink(t, "-d", filepath.Join(dumps, "%M.")), random: rand.New(rand.NewPCG(seed, 1))}
	address := l.start(t)
	path := fillOutbox(t, mails, 1000, nil)
	random := rand.New(rand.NewPCG(seed, 2))
	kills, runs := 0, 0
	doubts := map[string]int{} // how often a kill left a message in doubt
	attempts := map[loops.MessageKey]int{}
	for done := false; !done; runs++ {
		require.Less(t, runs, 20*wantKills+50, "the sender never ends")
		ctx, cancel := context.WithCancel(t.Context())
		cmd := exec.CommandContext(ctx, os.Args[0], "-test.run", "^TestCampaignSender$")
		cmd.Env = append(os.Environ(), senderVariable+"="+path+";"+address)
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		cuts := l.cuts.Load()
		require.NoError(t, cmd.Start())
		if kills < wantKills {
			// After so many mails, however slow the machine is; now and then before
			// the register is open.
			if kills%10 == 9 {
				time.AfterFunc(time.Duration(random.IntN(40))*time.Millisecond, cancel)
			}
			l.after(1+random.Int64N(80), cancel)
			err := cmd.Wait()
			l.left.Store(0)
			if ctx.Err() != nil && err != nil {
				kills++
				fresh := 0
				for _, m := range inDoubt(t, path) {
					if m.Attempts > attempts[m.Key] { // by this kill, not by one before
						attempts[m.Key] = m.Attempts
						doubts[notify.MessageIDFor("", m.Key, "tidewater.example")]++
						fresh++
					}
				}
				assert.LessOrEqual(t, fresh, 32+int(l.cuts.Load()-cuts), "a kill leaves one wave in doubt, a line cut one message")
			} else {
				require.NoError(t, err, out.String())
				done = true
			}
		} else {
			require.NoError(t, cmd.Wait(), out.String())
			done = true
		}
		cancel()
	}
	got := copies(t, dumps)
	extra, unexplained, most, doubted := 0, int64(0), 0, 0
	for id, n := range got {
		extra += n - 1
		most = max(most, n)
		doubted += doubts[id]
		unexplained += int64(max(0, n-1-doubts[id]))
	}
	t.Logf("%d mails, %d arrived, %d extra copies, at most %d of one; %d kills that left %d in doubt, %d lines cut, %d of them at the reply that accepts, %d times no relay",
		mails, len(got), extra, most, kills, doubted, l.cuts.Load(), l.lost.Load(), l.down.Load())
	assert.Len(t, got, mails, "every mail arrives")
	assert.LessOrEqual(t, unexplained, l.lost.Load(), "at most one extra copy of a message for each kill that left it in doubt, or lost reply")
	assert.Positive(t, kills)
	assert.Positive(t, doubted, "kills between the first byte and the record of an outcome")

	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer s.Close()
	for m, err := range s.Messages("") {
		require.NoError(t, err)
		require.Equal(t, loops.Delivered, m.Status, "%s: %s", m.Key, m.LastError)
	}
}

// Five days without a relay: what is still useful then goes, the rest expires
// and says why; no address is blamed.
func TestCampaignRelayDownForFiveDays(t *testing.T) {
	t.Parallel()
	path := fillOutbox(t, 40, 500, func(i int) time.Time { return sent.AddDate(0, 0, 2+8*(i%2)) })
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	dead, err := notify.NewDeliverer(s, nil, nil, relayTo(t, notify.RelayOptions{Address: closed.Addr().String()}), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	for hour := range 5 * 24 {
		_, err := dead.Deliver(t.Context(), sent.Add(time.Duration(hour)*time.Hour))
		require.NoError(t, err)
	}
	dumps := t.TempDir()
	alive, err := notify.NewDeliverer(s, nil, nil, relayTo(t, notify.RelayOptions{Address: peer.StartSink(t, "-d", filepath.Join(dumps, "%M."))}), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	rep, err := alive.Deliver(t.Context(), sent.AddDate(0, 0, 5).Add(time.Hour))
	require.NoError(t, err)
	assert.Equal(t, 20, rep.Delivered)
	assert.Len(t, copies(t, dumps), 20)
	expired := 0
	for m, err := range s.Messages(loops.Expired) {
		require.NoError(t, err)
		assert.Contains(t, m.LastError, "no longer have helped")
		expired++
	}
	assert.Equal(t, 20, expired)
	nobodyMarked(t, s)
}

func nobodyMarked(t *testing.T, s *store.Store) {
	t.Helper()
	for x, err := range s.Suppressions() {
		require.NoError(t, err)
		assert.Fail(t, "an address was given up", x.Address)
	}
	for m, err := range s.Messages(loops.Refused) {
		require.NoError(t, err)
		assert.Fail(t, "a message was refused", m.LastError)
	}
}

// A wrong password is nobody's address: all mail waits and goes once the
// password is right.
func TestCampaignWrongPassword(t *testing.T) {
	t.Parallel()
	server, client := certificate(t)
	relayServer := &relayServer{login: "bench:right"}
	address := relayServer.start(t, server, false)
	s, err := store.Open(fillOutbox(t, 30, 500, nil), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	deliver := func(password notify.Secret, now time.Time) notify.Report {
		d, err := notify.NewDeliverer(s, nil, nil, relayTo(t, notify.RelayOptions{
			Address: address, Security: notify.StartTLS, TLS: client, Username: "bench", Password: password,
		}), notify.DefaultRetryPlan(), nil)
		require.NoError(t, err)
		rep, err := d.Deliver(t.Context(), now)
		require.NoError(t, err)
		return rep
	}
	for hour := range 48 {
		rep := deliver("wrong", sent.Add(time.Duration(hour)*time.Hour))
		require.Error(t, rep.RelayFault)
		require.NotContains(t, rep.RelayFault.Error(), "wrong")
	}
	nobodyMarked(t, s)
	assert.Equal(t, 30, deliver("right", sent.Add(72*time.Hour)).Delivered)
}

// nothingSent is a transport that takes everything and notes how much memory
// stands in use meanwhile.
type nothingSent struct {
	n    int
	peak uint64
}

func (n *nothingSent) Send(context.Context, notify.Envelope, []byte) error {
	if n.n++; n.n%150 == 0 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		n.peak = max(n.peak, m.HeapAlloc)
	}
	return nil
}

func (n *nothingSent) Open(context.Context) error { return nil }

func (n *nothingSent) End() {}

// Memory does not grow with the queue.
func TestCampaignMemoryIsFlat(t *testing.T) {
	peak := func(mails int) uint64 {
		s, err := store.Open(fillOutbox(t, mails, 4000, nil), store.Options{})
		require.NoError(t, err)
		defer func() { require.NoError(t, s.Close()) }()
		count := &nothingSent{}
		d, err := notify.NewDeliverer(s, nil, nil, count, notify.DefaultRetryPlan(), nil)
		require.NoError(t, err)
		rep, err := d.Deliver(t.Context(), sent)
		require.NoError(t, err)
		require.Equal(t, mails, rep.Delivered)
		return count.peak
	}
	short, long := 300, 900
	if seeded.Long() {
		short, long = 1000, 20_000
	}
	few, many := peak(short), peak(long)
	t.Logf("live heap at its highest: %.1f MB with %d queued, %.1f MB with %d", float64(few)/1e6, short, float64(many)/1e6, long)
	assert.Less(t, many, few+8<<20)
}
