// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bufio"
	"bytes"
	"context"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/backups"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/testdata/seeded"
)

// house opens a register in a folder of its own that is backed up by schedule
// into another, with one owner on record.
func house(t testing.TB, change ...func(*Config)) (Config, *Service) {
	t.Helper()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(folder, "data", "register.db")
	c.Backup.Folder = filepath.Join(folder, "backups")
	for _, f := range change {
		f(&c)
	}
	require.Empty(t, c.Problems())
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { _ = h.Close() }) // a test may have closed it
	_, err = h.Workshop.AddOwner(workshop.Stamp{At: testNow(), By: "local:test"}, loops.Owner{Name: "Ana Ruizado"})
	require.NoError(t, err)
	return c, h
}

// Thirty nights: what is there is what the rules keep, in both folders; each was
// restored and compared; and an erasure knows the day on which each goes.
func TestNightsOfBackups(t *testing.T) {
	t.Parallel()
	second := t.TempDir()
	c, h := house(t, func(c *Config) {
		c.Backup.SecondFolder = second
		c.Backup.Keep.Daily, c.Backup.Keep.Weekly, c.Backup.Keep.Monthly = 3, 2, 0
	})
	at := testNow()
	for range 12 {
		made, err := h.keeper.Scheduled(t.Context(), "schedule", at)
		require.NoError(t, err)
		require.Positive(t, made.Compared)
		at = at.AddDate(0, 0, 1)
	}
	for _, folder := range []string{c.Backup.Folder, second} {
		all, err := backups.Folder(folder).List()
		require.NoError(t, err)
		require.Len(t, all, 4, "three days and the Sunday of the week before")
		files, err := os.ReadDir(folder)
		require.NoError(t, err)
		assert.Len(t, files, 4, "nothing else is left")
	}
	state, err := h.Store.Backups()
	require.NoError(t, err)
	last := at.AddDate(0, 0, -1)
	assert.True(t, state.Made.Equal(last) && state.Drilled.Equal(last) && state.Second.Equal(last))
	assert.Empty(t, state.Fault+state.DrillFault+state.SecondFault)

	// A restore of the oldest is the register of that night.
	list, err := h.keeper.BackupList()
	require.NoError(t, err)
	require.Len(t, list, 8)
	away := c
	away.Store = filepath.Join(t.TempDir(), "back", "register.db")
	require.NoError(t, Restore(t.Context(), away, list[3].Path, ""))
	back, err := store.Open(away.Store, store.Options{})
	require.NoError(t, err)
	o, err := back.Owner(1)
	require.NoError(t, err)
	assert.Equal(t, "Ana Ruizado", o.Name)
	require.NoError(t, back.Close())

	// By hand, and one that somebody deleted.
	byHand := filepath.Join(t.TempDir(), "by hand")
	require.NoError(t, h.keeper.Backup(t.Context(), byHand, "local:test", at))
	proof, err := h.keeper.backups(at)
	require.NoError(t, err)
	require.Len(t, proof, 9, "what was rotated out holds nobody")
	for _, b := range proof {
		assert.True(t, b.There, b.Folder)
		assert.Equal(t, b.Folder == byHand, b.Gone.IsZero(), "%s: nobody said how long those by hand are kept", b.Folder)
	}
	// And it comes as said: night after night, until the last of them has gone.
	goneOn := map[string]loops.Day{}
	for _, b := range proof {
		if !b.Gone.IsZero() {
			goneOn[b.Folder] = b.Gone
		}
	}
	for ; len(goneOn) > 0; at = at.AddDate(0, 0, 1) {
		night := c.nextBackup(at.AddDate(0, 0, -1))
		made, err := h.keeper.Scheduled(t.Context(), "schedule", night)
		require.NoError(t, err)
		for _, path := range made.Removed {
			if day, ours := goneOn[path]; ours {
				assert.Equal(t, day, loops.DayOf(night, c.Zone()), path)
				delete(goneOn, path)
			}
		}
		require.True(t, at.Before(testNow().AddDate(0, 3, 0)), "they never went: %v", goneOn)
	}
}

// The key that mail is signed with is in the backup, though another in the folder of
// keys is called as it is there.
func TestBackupHasTheKeyThatSigns(t *testing.T) {
	t.Parallel()
	key := secretFile(t, "the one that signs")
	c, h := house(t)
	other := filepath.Join(c.Beside(), backups.Keys, c.Mail.DKIMSelector+".pem")
	require.NoError(t, os.WriteFile(other, []byte("another"), 0o600))
	h.keeper.config.Mail.DKIMKeyFile = key
	made, err := h.keeper.Scheduled(t.Context(), "schedule", testNow())
	require.NoError(t, err)
	content, err := os.ReadFile(filepath.Join(made.Folder, backups.Keys, c.Mail.DKIMSelector+".pem"))
	require.NoError(t, err)
	assert.Equal(t, "the one that signs", string(content))
	assert.FileExists(t, filepath.Join(made.Folder, backups.Keys, filepath.Base(c.linkKeyFile())))
}

// Of a restore that fails nothing is left: no register whose keys are missing, which
// would be given others, and no keys in the way of the next backup that is tried.
func TestRestoreThatFailsLeavesNothing(t *testing.T) {
	t.Parallel()
	_, h := house(t)
	for name, spoil := range map[string]func(t *testing.T, folder string){
		"a key that leads nowhere": func(t *testing.T, folder string) {
			require.NoError(t, os.Symlink(filepath.Join(folder, "gone"), filepath.Join(folder, backups.Keys, "old.pem")))
		},
		"a damaged register": func(t *testing.T, folder string) {
			require.NoError(t, os.WriteFile(filepath.Join(folder, backups.Register), []byte("half"), 0o600))
		},
	} {
		folder := filepath.Join(t.TempDir(), "backup")
		require.NoError(t, h.keeper.Backup(t.Context(), folder, "local:test", testNow()), name)
		spoil(t, folder)
		c := DefaultConfig(map[string]string{})
		c.Store = filepath.Join(t.TempDir(), "register.db")
		require.Error(t, Restore(t.Context(), c, folder, ""), name)
		left, err := os.ReadDir(c.Beside())
		require.NoError(t, err)
		assert.Empty(t, left, name)
	}
}

// A backup that is not what it was made from is found by the drill, told, and
// neither kept nor counted; those before stay.
func TestDrillFindsWhatIsNotTheSame(t *testing.T) {
	t.Parallel()
	c, h := house(t, func(c *Config) { c.Backup.Keep.Daily = 1 })
	_, err := h.keeper.Scheduled(t.Context(), "schedule", testNow())
	require.NoError(t, err)
	part := t.TempDir()
	live := newDigest()
	require.NoError(t, h.keeper.fill(t.Context(), part, live))
	work := backups.Folder(t.TempDir())
	require.NoError(t, h.keeper.drill(t.Context(), work, part, testNow(), live))

	// The register goes on: the copy is an older one.
	_, err = h.Workshop.AddOwner(workshop.Stamp{At: testNow(), By: "local:test"}, loops.Owner{Name: "Bo Lindquist"})
	require.NoError(t, err)
	newer := newDigest()
	require.NoError(t, h.Store.Export(t.Context(), newer))
	require.ErrorContains(t, h.keeper.drill(t.Context(), work, part, testNow(), newer), "is not the register's")

	// Bytes of pages flip on their way to the disk: of all, since some pages are free.
	register := filepath.Join(part, backups.Register)
	raw, err := os.ReadFile(register)
	require.NoError(t, err)
	require.Contains(t, string(raw), "Ana")
	require.NoError(t, os.WriteFile(register, bytes.ReplaceAll(raw, []byte("Ana"), []byte("Bna")), 0o600))
	require.ErrorIs(t, h.keeper.drill(t.Context(), work, part, testNow(), live), loops.ErrDamaged)
	left, err := os.ReadDir(string(work))
	require.NoError(t, err)
	assert.Empty(t, left)
	all, err := backups.Folder(c.Backup.Folder).List()
	require.NoError(t, err)
	assert.Len(t, all, 1)
}

// What cannot be written is told and recorded, and costs no backup that is there.
func TestBackupThatFails(t *testing.T) {
	t.Parallel()
	second := filepath.Join(t.TempDir(), "usb")
	c, h := house(t, func(c *Config) { c.Backup.SecondFolder, c.Backup.Keep.Daily = second, 1 })
	_, err := h.keeper.Scheduled(t.Context(), "schedule", testNow())
	require.ErrorContains(t, err, "backup.second_folder")
	state, err := h.Store.Backups()
	require.NoError(t, err)
	assert.True(t, state.Made.Equal(testNow()), "the first folder has it")
	assert.Contains(t, state.SecondFault, "usb")
	assert.Empty(t, state.Fault)
	assert.NoDirExists(t, second, "another disk that is not there is not replaced by a folder on this one")

	require.NoError(t, os.MkdirAll(second, 0o700))
	next := testNow().AddDate(0, 0, 1)
	_, err = h.keeper.Scheduled(t.Context(), "schedule", next)
	require.NoError(t, err)
	require.NoError(t, os.Rename(c.Backup.Folder, c.Backup.Folder+".away"))
	require.NoError(t, os.WriteFile(c.Backup.Folder, []byte("in the way"), 0o600))
	_, err = h.keeper.Scheduled(t.Context(), "schedule", next.AddDate(0, 0, 1))
	require.ErrorContains(t, err, "backup.folder")
	state, err = h.Store.Backups()
	require.NoError(t, err)
	assert.True(t, state.Made.Equal(next))
	assert.Contains(t, state.Fault, "backup.folder")
	for _, folder := range []string{c.Backup.Folder + ".away", second} {
		all, err := backups.Folder(folder).List()
		require.NoError(t, err)
		assert.Len(t, all, 1, folder)
	}
}

// A daemon that is stopped meanwhile has made none and failed at none.
func TestBackupThatIsStopped(t *testing.T) {
	t.Parallel()
	c, h := house(t)
	_, err := h.keeper.Scheduled(t.Context(), "schedule", testNow())
	require.NoError(t, err)
	was, err := h.Store.Backups()
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	next := testNow().AddDate(0, 0, 1)
	_, err = h.keeper.Scheduled(ctx, "schedule", next)
	require.ErrorIs(t, err, context.Canceled)
	is, err := h.Store.Backups()
	require.NoError(t, err)
	assert.Equal(t, was, is)
	assert.True(t, c.backupDue(is, next), "the next start makes it")
	files, err := os.ReadDir(c.Backup.Folder)
	require.NoError(t, err)
	assert.Len(t, files, 1)
}

// An encrypted one leaves nothing plain outside the register's folder, and its
// identity opens it.
func TestEncryptedBackups(t *testing.T) {
	t.Parallel()
	identity := filepath.Join(t.TempDir(), "identity")
	recipient, err := backups.NewIdentity(identity)
	require.NoError(t, err)
	c, h := house(t, func(c *Config) { c.Backup.Recipient, c.Backup.SecondFolder = recipient, t.TempDir() })
	made, err := h.keeper.Scheduled(t.Context(), "schedule", testNow())
	require.NoError(t, err)
	require.Positive(t, made.Compared)
	for _, path := range []string{made.Folder, made.Second} {
		raw, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.NotContains(t, string(raw), "Ruizado")
		away := c
		away.Store = filepath.Join(t.TempDir(), "register.db")
		require.ErrorContains(t, Restore(t.Context(), away, path, ""), "identity")
		require.NoError(t, Restore(t.Context(), away, path, identity))
		back, err := store.Open(away.Store, store.Options{ReadOnly: true})
		require.NoError(t, err)
		_, err = back.Owner(1)
		require.NoError(t, err)
		require.NoError(t, back.Close())
		assert.FileExists(t, filepath.Join(filepath.Dir(away.Store), backups.Keys, "links.key"))
		files, err := filepath.Glob(filepath.Join(filepath.Dir(away.Store), "*"+backups.Unfinished+"*"))
		require.NoError(t, err)
		assert.Empty(t, files)
	}
	files, err := filepath.Glob(filepath.Join(filepath.Dir(c.Store), "*"+backups.Unfinished+"*"))
	require.NoError(t, err)
	assert.Empty(t, files, "nothing plain is left beside the register")
	proof, err := h.keeper.backups(testNow())
	require.NoError(t, err)
	require.Len(t, proof, 2)
	assert.True(t, proof[0].There && proof[1].There)
}

// When one is due: at the schedule's time, once after any time off, and an hour
// after one that failed.
func TestWhenABackupIsDue(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{})
	c.Workshop.Zone = "Europe/Lisbon" // UTC in winter
	at := func(text string) time.Time {
		t, err := time.Parse("2006-01-02 15:04", text)
		if err != nil {
			panic(err)
		}
		return t
	}
	made := at("2026-11-27 02:30")
	for _, tt := range []struct {
		name string
		b    loops.Backups
		now  string
		want bool
	}{
		{"never made", loops.Backups{}, "2026-11-28 12:00", true},
		{"made, before the next", loops.Backups{Made: made, Tried: made}, "2026-11-28 02:29", false},
		{"made, at the next", loops.Backups{Made: made, Tried: made}, "2026-11-28 02:30", true},
		{"three weeks off", loops.Backups{Made: made, Tried: made}, "2026-12-18 09:00", true},
		{"failed just now", loops.Backups{Made: made, Tried: at("2026-11-28 02:30")}, "2026-11-28 03:00", false},
		{"failed an hour ago", loops.Backups{Made: made, Tried: at("2026-11-28 02:30")}, "2026-11-28 03:30", true},
		{"the clock was ahead", loops.Backups{Made: at("2031-01-01 02:30"), Tried: at("2031-01-01 02:30")}, "2026-11-28 03:30", true},
	} {
		c.Backup.Folder = "/backups"
		assert.Equal(t, tt.want, c.backupDue(tt.b, at(tt.now)), tt.name)
		c.Backup.Folder = ""
		assert.False(t, c.backupDue(tt.b, at(tt.now)), "none is configured")
	}
}

// The daemon makes the first by itself.
func TestDaemonMakesBackups(t *testing.T) {
	t.Parallel()
	c, h := house(t)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- h.keepBackups(ctx, testNow, slog.New(slog.DiscardHandler)) }()
	assert.Eventually(t, func() bool {
		state, err := h.Store.Backups()
		return err == nil && !state.Made.IsZero()
	}, 20*time.Second, 10*time.Millisecond)
	stop()
	require.NoError(t, <-ended)
	all, err := backups.Folder(c.Backup.Folder).List()
	require.NoError(t, err)
	assert.Len(t, all, 1)
}

// killedFolder tells a child of the test below where it works.
const killedFolder = "FILLMARK_TEST_BACKUPS"

// A process that makes backups and rotates them is killed again and again, at any
// moment: there are never fewer good ones than before.
func TestCampaignKillsWhileRotating(t *testing.T) {
	if folder := os.Getenv(killedFolder); folder != "" {
		makeBackupsUntilKilled(t, folder)
		return
	}
	t.Parallel()
	kills, seed := seeded.Times(4, 60), seeded.Seed(t)
	random := rand.New(rand.NewPCG(seed, 7))
	folder := t.TempDir()
	before := []int{0, 0}
	for kill := range kills {
		child := exec.Command(os.Args[0], "-test.run=^TestCampaignKillsWhileRotating$")
		child.Env = append(os.Environ(), killedFolder+"="+folder)
		said, err := child.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, child.Start())
		lines := bufio.NewScanner(said)
		for range 2 + random.IntN(4) {
			if !lines.Scan() {
				break
			}
		}
		timer := time.NewTimer(time.Duration(random.IntN(40)) * time.Millisecond)
		<-timer.C
		require.NoError(t, child.Process.Kill())
		_ = child.Wait() // it was killed
		for i, name := range []string{"backups", "second"} {
			good := goodBackups(t, filepath.Join(folder, name))
			require.GreaterOrEqual(t, good, before[i], "%s after kill %d", name, kill)
			before[i] = min(good, 3)
		}
	}
	assert.Equal(t, []int{3, 3}, before)
	t.Logf("%d kills, never fewer good backups than before", kills)
}

// killedConfig is what the killed process works with: three days are kept.
func killedConfig(folder string) Config {
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(folder, "data", "register.db")
	c.Backup.Folder, c.Backup.SecondFolder = filepath.Join(folder, "backups"), filepath.Join(folder, "second")
	c.Backup.Keep.Daily, c.Backup.Keep.Weekly, c.Backup.Keep.Monthly = 3, 0, 0
	return c
}

// makeBackupsUntilKilled makes one a day that passes, and says so.
func makeBackupsUntilKilled(t *testing.T, folder string) {
	c := killedConfig(folder)
	require.NoError(t, os.MkdirAll(c.Backup.SecondFolder, 0o700))
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	at := testNow()
	if state, err := h.Store.Backups(); err == nil && !state.Tried.IsZero() {
		at = state.Tried.AddDate(0, 0, 1)
	}
	for ; ; at = at.AddDate(0, 0, 1) {
		_, err := h.keeper.Scheduled(t.Context(), "schedule", at)
		require.NoError(t, err)
		_, err = os.Stdout.WriteString("made " + at.Format(time.DateOnly) + "\n")
		require.NoError(t, err)
	}
}

// goodBackups counts those that can be restored and are sound.
func goodBackups(t *testing.T, folder string) int {
	t.Helper()
	all, err := backups.Folder(folder).List()
	require.NoError(t, err)
	good := 0
	for _, m := range all {
		c := DefaultConfig(map[string]string{})
		c.Store = filepath.Join(t.TempDir(), "register.db")
		require.NoError(t, Restore(t.Context(), c, m.Path, ""), m.Path)
		if _, err := os.Stat(filepath.Join(filepath.Dir(c.Store), backups.Keys, "links.key")); assert.NoError(t, err, m.Path) {
			good++
		}
	}
	return good
}

func TestBackupSettings(t *testing.T) {
	t.Parallel()
	for key, change := range map[string]func(*Config){
		"backup.folder":        func(c *Config) { c.Backup.Folder = "here" },
		"backup.second_folder": func(c *Config) { c.Backup.SecondFolder = "/b" },
		"backup.cron":          func(c *Config) { c.Backup.Folder, c.Backup.Cron = "/b", "nightly" },
		"backup.keep.daily":    func(c *Config) { c.Backup.Keep.Daily = 0 },
		"backup.keep.weekly":   func(c *Config) { c.Backup.Keep.Weekly = -1 },
		"backup.keep.monthly":  func(c *Config) { c.Backup.Keep.Monthly = 500 },
		"backup.recipient":     func(c *Config) { c.Backup.Recipient = "age1nobody" },
		"backup.kept_days":     func(c *Config) { c.Backup.KeptDays = -1 },
	} {
		c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
		require.Empty(t, c.Problems())
		change(&c)
		problems := c.Problems()
		if assert.Len(t, problems, 1, key) {
			assert.True(t, strings.HasPrefix(problems[0].Error(), key+" "), problems[0].Error())
		}
	}
}
