// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bufio"
	"encoding/json"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify/links"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// killedReader tells a child of the test below where it works.
const killedReader = "FILLMARK_TEST_MAILBOX"

// A process that reads the mailbox of a real Dovecot is killed again and again, at
// any moment and while mail comes in, and now and then the mailbox numbers all of
// its mails again: each owner's answer is on record once, and none is lost.
func TestCampaignKillsWhileReadingMail(t *testing.T) {
	if file := os.Getenv(killedReader); file != "" {
		readMailUntilKilled(t, file)
		return
	}
	t.Parallel()
	kills, seed := seeded.Times(4, 100), seeded.Seed(t)
	random := rand.New(rand.NewPCG(seed, 11))
	d := peer.StartDovecot(t)
	c := killedMailConfig(t, d)
	answered := answeringOwners(t, c, 4+2*kills)
	keys := linkKeys(t, c)
	sent := 0
	comes := func(n int) {
		for ; n > 0 && sent < len(answered); n-- {
			token := keys.SignReply(links.Reply{Owner: answered[sent], Says: links.SaysCall}, testNow().AddDate(0, 0, 30))
			d.Comes(t, fmt.Sprintf("17%08d.M%d.h", sent*2, sent), "From: a@b.example\nSubject: Invoice\n\nPlease pay.\n")
			d.Comes(t, fmt.Sprintf("17%08d.M%d.h", sent*2+1, sent), fmt.Sprintf("From: owner@garden.example\nSubject: Call me [fm-%s]\n\nmail %d\n", token, sent))
			sent++
		}
	}
	comes(4)
	file := configFile(t, c)
	for range kills {
		child := exec.Command(os.Args[0], "-test.run=^TestCampaignKillsWhileReadingMail$")
		child.Env = append(os.Environ(), killedReader+"="+file)
		said, err := child.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, child.Start())
		lines := bufio.NewScanner(said)
		require.True(t, lines.Scan(), "it has begun")
		comes(2)
		for range random.IntN(5) {
			if !lines.Scan() {
				break
			}
		}
		timer := time.NewTimer(time.Duration(random.IntN(8000)) * time.Microsecond)
		<-timer.C
		require.NoError(t, child.Process.Kill())
		_ = child.Wait() // it was killed
		if random.IntN(3) == 0 {
			d.Renumber()
		}
	}
	comes(len(answered))
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	before := answersOn(t, h)
	require.NoError(t, h.readMailbox(t.Context(), testNow(), slog.New(slog.DiscardHandler)))
	after := answersOn(t, h)
	require.Len(t, after, len(answered))
	for owner, answers := range after {
		assert.Equal(t, 1, answers, "owner %d", owner)
	}
	report, err := h.Store.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
	t.Logf("%d kills, %d answers by mail, %d of them taken before the last reading", kills, len(answered), total(before))
}

func total(counts map[loops.OwnerID]int) (sum int) {
	for _, n := range counts {
		sum += n
	}
	return sum
}

// killedMailConfig is what the killed process works with.
func killedMailConfig(t *testing.T, d peer.Dovecot) Config {
	t.Helper()
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(t.TempDir(), "register.db")
	c.Mail.IMAP.Address, c.Mail.IMAP.User, c.Mail.IMAP.CAFile, c.Mail.IMAP.PasswordFile = d.Implicit, "bench", d.CAFile, secretFile(t, "app password\n")
	require.Empty(t, c.Problems())
	return c
}

// configFile hands a configuration to a child.
func configFile(t *testing.T, c Config) string {
	t.Helper()
	raw, err := json.Marshal(c)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "config.json")
	require.NoError(t, os.WriteFile(path, raw, 0o600))
	return path
}

// readMailUntilKilled reads the mailbox over and over, and says each look and mail.
func readMailUntilKilled(t *testing.T, file string) {
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	var c Config
	require.NoError(t, json.Unmarshal(raw, &c))
	log := slog.New(slog.NewTextHandler(os.Stdout, nil))
	h, err := Open(c, testNow, log)
	require.NoError(t, err)
	for {
		log.Info("looking")
		require.NoError(t, h.readMailbox(t.Context(), testNow(), log))
	}
}

// answeringOwners puts so many owners with a loop each into a new register.
func answeringOwners(t *testing.T, c Config, n int) []loops.OwnerID {
	t.Helper()
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	first := firstLoad(t, h, testNow())
	require.NoError(t, h.Store.Commit(copies(t, first, testNow(), 1, n, map[loops.Tag]bool{first.Loop.Tag: true})))
	var all []loops.OwnerID
	for o, err := range h.Store.Owners() {
		require.NoError(t, err)
		if o.ID != first.Owner.ID {
			all = append(all, o.ID)
		}
	}
	require.Len(t, all, n)
	return all
}

func linkKeys(t *testing.T, c Config) links.Keys {
	t.Helper()
	secrets, err := os.ReadFile(c.linkKeyFile())
	require.NoError(t, err)
	keys, err := links.New(secrets)
	require.NoError(t, err)
	return keys
}

// answersOn counts the answers on record of each owner but the first.
func answersOn(t *testing.T, h *Service) map[loops.OwnerID]int {
	t.Helper()
	counts := map[loops.OwnerID]int{}
	for l, err := range h.Store.Loops() {
		require.NoError(t, err)
		file, err := h.Workshop.File(l.Tag)
		require.NoError(t, err)
		if file.Owner.Name == "Owner 0" {
			continue
		}
		counts[file.Owner.ID] = 0
		for _, e := range file.History {
			if e.Kind == loops.KindAnswer {
				counts[file.Owner.ID]++
			}
		}
	}
	return counts
}
