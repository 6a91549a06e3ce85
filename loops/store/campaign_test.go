// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/loops/store/engine"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// The kill campaign starts this test binary again as a process of its own that
// writes to a store, kills it with SIGKILL at a random point, and looks at
// what is left: every acknowledged write is there, no change is there by half,
// and the check finds nothing. A short one runs always;
// FILLMARK_CAMPAIGN=full kills 300 times and more, and
// FILLMARK_CAMPAIGN_SEED=n repeats one.

// childTask and childPath tell this binary to be the process that is killed.
const (
	childTask = "FILLMARK_STORE_CHILD"
	childPath = "FILLMARK_STORE_PATH"
)

func TestMain(m *testing.M) {
	var err error
	switch task := os.Getenv(childTask); task {
	case "":
		os.Exit(m.Run())
	case "write":
		err = childWrites(os.Getenv(childPath), os.Stdout)
	case "hold":
		err = childHolds(os.Getenv(childPath), os.Stdout)
	case "migrate":
		err = childMigrates(os.Getenv(childPath), os.Stdout)
	default:
		err = fmt.Errorf("no task %q", task)
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1) // a child goes on until it is killed
}

// childWrites commits changes, moves mail on, backs up and compacts, and says
// after each what was acknowledged.
func childWrites(path string, out io.Writer) error {
	s, err := store.Open(path, store.Options{})
	if err != nil {
		return err
	}
	for n := 0; ; n++ {
		c, err := nextWorkshop(s)
		if err != nil {
			return err
		}
		id := c.Loops[0].ID
		m := aMessage(c.Owners[0].ID, c.Entries[0].Day, noon)
		c.Messages = []loops.Message{m}
		if err := s.Commit(c); err != nil {
			return err
		}
		fmt.Fprintln(out, "loop", id)
		if err := attempt(s, m, loops.StoreRevision{}, noon, noon.Add(time.Hour)); err != nil {
			return err
		}
		fmt.Fprintln(out, "attempt", m.Key)
		if !strings.HasPrefix(path, "postgres:") && n%7 == 3 { // a database has its own tools
			to := fmt.Sprintf("%s.backup-%d", path, id)
			if err := s.Backup(context.Background(), to); err != nil {
				return err
			}
			fmt.Fprintln(out, "backup", to)
		}
		if !strings.HasPrefix(path, "postgres:") && n%5 == 2 {
			if _, _, err := s.Compact(context.Background()); err != nil {
				return err
			}
			fmt.Fprintln(out, "compacted", n)
		}
	}
}

func childHolds(path string, out io.Writer) error {
	if _, err := store.Open(path, store.Options{}); err != nil {
		return err
	}
	fmt.Fprintln(out, "holds", path)
	select {} // until it is killed
}

// A second process is told that there is a first, and on Linux which.
func TestSecondProcess(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childTask+"=hold", childPath+"="+path)
	pipe, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	_, err = bufio.NewReader(pipe).ReadString('\n')
	require.NoError(t, err)
	_, err = store.Open(path, store.Options{Timeout: 10 * time.Millisecond})
	require.ErrorIs(t, err, loops.ErrInUse)
	if runtime.GOOS == "linux" {
		assert.ErrorContains(t, err, fmt.Sprintf("in use by another process (process %d)", child.Process.Pid))
	}
	require.NoError(t, child.Process.Kill())
	require.Error(t, child.Wait())
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// manySteps are migrations that each take a while, and say so.
func manySteps(out io.Writer) []func(engine.Writer) error {
	var steps []func(engine.Writer) error
	for n := range 12 {
		steps = append(steps, func(tx engine.Writer) error {
			fmt.Fprintln(out, "step", n)
			name := fmt.Sprintf("step %d", n)
			if err := tx.MakeBucket(name); err != nil {
				return err
			}
			for i := range loops.LoopID(300) {
				if err := tx.Put(name, store.IDKey(i), make([]byte, 200)); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return steps
}

func childMigrates(path string, out io.Writer) error {
	if _, err := store.OpenWith(path, manySteps(out)...); err != nil {
		return err
	}
	fmt.Fprintln(out, "migrated", path)
	select {} // until it is killed
}

// killed starts a child on the store, kills it the delay after it wrote so many
// lines, and returns the whole lines it wrote. Lines are counted since a busy
// machine may take any time for one.
func killed(t *testing.T, task, path string, lines int, delay time.Duration) [][2]string {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childTask+"="+task, childPath+"="+path)
	child.Stderr = os.Stderr
	pipe, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	var acknowledged [][2]string
	out := bufio.NewReader(pipe)
	for n := 0; ; n++ {
		if n == lines {
			timer := time.AfterFunc(delay, func() { _ = child.Process.Kill() })
			defer timer.Stop()
		}
		line, err := out.ReadString('\n')
		if err != nil {
			require.ErrorIs(t, err, io.EOF)
			break
		}
		what, which, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		acknowledged = append(acknowledged, [2]string{what, which})
	}
	require.ErrorContains(t, child.Wait(), "signal: killed")
	return acknowledged
}

// campaign is how often to do harm, and the seed of where.
func campaign(t *testing.T, short, full int) (times int, random *rand.Rand) {
	t.Helper()
	return seeded.Times(short, full), rand.New(rand.NewPCG(seeded.Seed(t), 0))
}

func TestCampaignKillWhileWriting(t *testing.T) {
	kills, random := campaign(t, 12, 300)
	var kept map[string]string
	var path string
	counts := map[string]int{}
	for n := range kills {
		if n%20 == 0 { // a new file, so that looking at it stays quick
			path, kept = filepath.Join(t.TempDir(), "shop.fillmark"), map[string]string{}
		}
		for _, ack := range killed(t, "write", path, random.IntN(30), time.Duration(random.IntN(30))*time.Millisecond) {
			kept[ack[1]] = ack[0]
			counts[ack[0]]++
		}
		if _, err := os.Stat(path); os.IsNotExist(err) {
			require.Empty(t, kept, "killed before the store was there")
			counts["before the file was there"]++
			continue
		}
		s, err := store.Open(path, store.Options{})
		require.NoError(t, err)
		acknowledgedIsThere(t, s, kept)
		nothingByHalf(t, s)
		sound(t, s)
		require.NoError(t, s.Close())
	}
	t.Logf("acknowledged and found: %v", counts)
	assert.Positive(t, counts["loop"])
}

// killedWhileWriting is the same on a server, which gives up what the child was at.
func killedWhileWriting(t *testing.T, server *peer.Postgres) {
	kills, random := campaign(t, 3, 60)
	kept, path := map[string]string{}, schema(t, server, "killed")
	for range kills {
		for _, ack := range killed(t, "write", path, 1+random.IntN(20), time.Duration(random.IntN(30))*time.Millisecond) {
			kept[ack[1]] = ack[0]
		}
		s, err := store.Open(path, store.Options{})
		require.NoError(t, err)
		_, err = s.NewOwnerID() // behind whatever the child sent last
		require.NoError(t, err)
		acknowledgedIsThere(t, s, kept)
		nothingByHalf(t, s)
		sound(t, s)
		require.NoError(t, s.Close())
	}
	assert.NotEmpty(t, kept)
	t.Logf("%d kills, %d writes acknowledged and found", kills, len(kept))
}

// acknowledgedIsThere looks for everything that the children said was done.
func acknowledgedIsThere(t *testing.T, s *store.Store, kept map[string]string) {
	t.Helper()
	for which, what := range kept {
		switch what {
		case "loop":
			var id loops.LoopID
			_, err := fmt.Sscan(which, &id)
			require.NoError(t, err)
			_, err = s.Loop(id)
			require.NoError(t, err)
		case "attempt":
			m, err := s.Message(loops.MessageKey(which))
			require.NoError(t, err)
			assert.Equal(t, 1, m.Attempts)
		case "backup":
			back, err := store.Open(which, store.Options{})
			require.NoError(t, err)
			sound(t, back)
			require.NoError(t, back.Close())
			require.NoError(t, os.Remove(which))
			delete(kept, which)
		}
	}
}

// nothingByHalf compares what each change wrote to different buckets.
func nothingByHalf(t *testing.T, s *store.Store) {
	t.Helper()
	n := 0
	for l, err := range s.Loops() {
		require.NoError(t, err)
		n++
		history, err := s.History(l.ID)
		require.NoError(t, err)
		assert.Len(t, history, 1)
		machine, err := s.Machine(l.Machine)
		require.NoError(t, err)
		letters, err := s.MessagesTo(machine.Owner, loops.Day{})
		require.NoError(t, err)
		require.Len(t, letters, 1)
		m, err := s.Message(letters[0].Key)
		require.NoError(t, err)
		assert.NotEmpty(t, m.Raw)
	}
	assert.Len(t, collect(t, s.Owners()), n)
	assert.Len(t, collect(t, s.Machines()), n)
	assert.Len(t, collect(t, s.Audit()), n)
	assert.Len(t, collect(t, s.Messages("")), n)
}

func TestCampaignKillWhileMigrating(t *testing.T) {
	kills, random := campaign(t, 4, 60)
	content, path := closedFile(t)
	finished := 0
	for n := range kills {
		old := fmt.Sprintf("%s.%d", path, n)
		require.NoError(t, os.WriteFile(old, content, 0o600))
		said := killed(t, "migrate", old, random.IntN(14), time.Duration(random.IntN(10))*time.Millisecond)
		if len(said) > 0 && said[len(said)-1][0] == "migrated" {
			finished++
		}
		s, err := store.OpenWith(old, manySteps(io.Discard)...)
		require.NoError(t, err)
		assert.Len(t, collect(t, s.Loops()), 8)
		require.NoError(t, s.Close())
		back, err := store.Open(old+".schema-1", store.Options{})
		require.NoError(t, err)
		sound(t, back)
		require.NoError(t, back.Close())
		for _, name := range []string{old, old + ".schema-1"} {
			require.NoError(t, os.Remove(name))
		}
	}
	t.Logf("%d of %d had finished before they were killed", finished, kills)
}
