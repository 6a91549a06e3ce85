// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"fillmark/cmd/fillmark/backups"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/loops/store"
)

// The actions of the audit that tell what became of backups.
const (
	backupMade = "backup"
	backupGone = "backup removed"
)

// againAfter is how long a backup that failed is left alone: a disk that is full
// stays so for longer than a minute.
const againAfter = time.Hour

// backupDue tells whether one is to be made now. What a time off has missed is
// made once, as a sweep is.
func (c Config) backupDue(b loops.Backups, now time.Time) bool {
	tried := now.Sub(b.Tried)
	if c.Backup.Folder == "" || tried >= 0 && tried < againAfter && b.Tried.After(b.Made) {
		return false
	}
	return b.Made.IsZero() || b.Made.After(now) || !c.nextBackup(b.Made).After(now)
}

// keepBackups makes the backups by schedule until the context ends. It runs
// beside the sweeps, so that a large register delays no mail.
func (h *Service) keepBackups(ctx context.Context, now func() time.Time, log *slog.Logger) error {
	often := time.NewTicker(time.Minute)
	defer often.Stop()
	for {
		state, err := h.Store.Backups()
		if err != nil {
			log.Error("whether a backup is due cannot be read", "error", err)
		} else if h.keeper.config.backupDue(state, now()) {
			switch made, err := h.keeper.Scheduled(ctx, "schedule", now()); {
			case err == nil:
				log.Info("backed up", "to", made.Folder, "lines", made.Compared, "removed", len(made.Removed))
			case ctx.Err() == nil:
				log.Error("backup failed", "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-often.C:
		}
	}
}

// Scheduled makes a backup in the configured folder, restores it for trial,
// copies it into the second folder and removes what no rule keeps, and records
// what came of it. Before there is one more that is whole, none is removed.
func (k keeper) Scheduled(ctx context.Context, by string, at time.Time) (made web.BackedUp, err error) {
	if k.config.InDatabase() {
		return made, store.ErrNoFile
	}
	if k.config.Backup.Folder == "" {
		return made, &loops.InvalidError{Field: "folder", Value: "", Reason: "a folder to write, or backup.folder in the configuration"}
	}
	k.making.Lock()
	defer k.making.Unlock()
	state, err := k.Store.Backups()
	if err != nil {
		return made, err
	}
	before := state
	state.Tried = at
	if err := k.NoteBackups(state); err != nil {
		return made, err
	}
	state.Fault, state.DrillFault, state.SecondFault = "", "", ""
	var lines []loops.AuditLine
	say := func(action, path string) {
		lines = append(lines, loops.AuditLine{At: at.UTC(), By: by, Action: action, On: path})
	}
	first, compared, err := k.first(ctx, at)
	if err != nil && ctx.Err() != nil { // stopped, which is no fault: the next start makes it
		return made, errors.Join(err, k.NoteBackups(before))
	}
	var drill *drillError
	switch {
	case errors.As(err, &drill):
		state.DrillFault = err.Error()
	case err != nil:
		state.Fault = err.Error()
	default:
		made = web.BackedUp{BackupTo: web.BackupTo{Folder: first.Path}, Compared: compared, Removed: []string{}}
		state.Made, state.Where, state.Drilled, state.Lines = at, first.Path, at, compared
		say(backupMade, first.Path)
	}
	if err == nil && k.config.Backup.SecondFolder != "" {
		var second backups.Made
		if second, err = k.second(first); err != nil {
			state.SecondFault = err.Error()
		} else {
			made.Second, state.Second = second.Path, at
			say(backupMade, second.Path)
		}
	}
	if !state.Made.Equal(at) {
		return made, errors.Join(err, k.NoteBackups(state, lines...))
	}
	for _, f := range []struct {
		path  string
		fault *string
	}{{k.config.Backup.Folder, &state.Fault}, {k.config.Backup.SecondFolder, &state.SecondFault}} {
		if f.path == "" || *f.fault != "" {
			continue
		}
		gone, rotating := backups.Folder(f.path).Rotate(k.config.keep(), at, k.config.Zone())
		for _, m := range gone {
			made.Removed = append(made.Removed, m.Path)
			say(backupGone, m.Path)
		}
		if rotating != nil {
			*f.fault = rotating.Error()
			err = errors.Join(err, rotating)
		}
	}
	return made, errors.Join(err, k.NoteBackups(state, lines...))
}

// drillError says that a backup is not what it was made from.
type drillError struct{ err error }

func (e *drillError) Error() string { return "restored for trial: " + e.err.Error() }
func (e *drillError) Unwrap() error { return e.err }

// first makes a backup in the first folder, and returns how many lines of its
// export were compared. Where it is encrypted, what is plain lies beside the
// register and nowhere else.
func (k keeper) first(ctx context.Context, at time.Time) (made backups.Made, lines int, err error) {
	folder := backups.Folder(k.config.Backup.Folder)
	if err := os.MkdirAll(string(folder), 0o700); err != nil {
		return made, 0, fmt.Errorf("backup.folder: %w", err)
	}
	work, ending := folder, ""
	if k.config.Backup.Recipient != "" {
		work, ending = backups.Folder(k.config.Beside()), backups.SealedEnding
	}
	if err := errors.Join(folder.Tidy(), work.Tidy()); err != nil {
		return made, 0, fmt.Errorf("what a backup left that was cut off: %w", err)
	}
	part, err := work.Part(at)
	if err != nil {
		return made, 0, fmt.Errorf("backup.folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(part)) }() // gone already where it has its name
	live := newDigest()
	if err := k.fill(ctx, part, live); err != nil {
		return made, 0, err
	}
	if err := k.drill(ctx, work, part, at, live); err != nil {
		return made, 0, &drillError{err}
	}
	made, _ = backups.Read(filepath.Join(string(folder), backups.Name(at)+ending))
	if made.Sealed {
		return made, live.lines, k.seal(folder, part, made)
	}
	return made, live.lines, folder.Finish(part, made)
}

// seal encrypts what lies plain in a folder into a backup.
func (k keeper) seal(folder backups.Folder, plain string, m backups.Made) error {
	recipient, err := backups.Recipient(k.config.Backup.Recipient)
	if err != nil {
		return err
	}
	sealed := m.Path + backups.Unfinished
	if err = backups.Seal(plain, sealed, recipient); err == nil {
		err = folder.Finish(sealed, m)
	}
	if err != nil {
		err = errors.Join(err, os.RemoveAll(sealed))
	}
	return err
}

// second copies a backup into the second folder.
func (k keeper) second(first backups.Made) (backups.Made, error) {
	folder := backups.Folder(k.config.Backup.SecondFolder)
	// It is not made: where another disk is not there, its place on this one
	// would be filled instead.
	err := folder.Tidy()
	if err == nil {
		first, err = folder.Put(first)
	}
	if err != nil {
		err = fmt.Errorf("backup.second_folder: %w", err)
	}
	return first, err
}

// drill restores a backup into a folder that goes again, checks all of it, and
// compares its export with the one of the register that it was made from.
func (k keeper) drill(ctx context.Context, work backups.Folder, part string, at time.Time, live *digest) (err error) {
	scratch, err := work.Part(at)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	c := k.config
	c.Store = filepath.Join(scratch, backups.Register)
	if err := restore(ctx, c, part); err != nil {
		return err
	}
	restored, err := store.Open(c.Store, store.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, restored.Close()) }()
	report, err := keeper{Store: restored, config: c}.Check(ctx)
	if err != nil {
		return err
	}
	if !report.OK {
		return errors.New("check: " + strings.Join(append(report.Problems, report.Photos...), "; "))
	}
	again := newDigest()
	if err := restored.Export(ctx, again); err != nil {
		return err
	}
	if again.lines != live.lines || !bytes.Equal(again.sum.Sum(nil), live.sum.Sum(nil)) {
		return fmt.Errorf("its export of %d lines is not the register's of %d", again.lines, live.lines)
	}
	return nil
}

// digest is what is left of an export that is only compared.
type digest struct {
	sum   hash.Hash
	lines int
}

func newDigest() *digest { return &digest{sum: sha256.New()} }

func (d *digest) Write(b []byte) (int, error) {
	d.lines += bytes.Count(b, []byte("\n"))
	return d.sum.Write(b)
}

// BackupList lists the backups by schedule in both folders, the newest first,
// with the day on which each is rotated out.
func (k keeper) BackupList() ([]web.KeptBackup, error) {
	list := []web.KeptBackup{}
	for _, folder := range []string{k.config.Backup.Folder, k.config.Backup.SecondFolder} {
		if folder == "" {
			continue
		}
		all, err := backups.Folder(folder).List()
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
		gone := k.goneBy(all)
		for _, m := range all {
			list = append(list, web.KeptBackup{Path: m.Path, Made: m.At, Encrypted: m.Sealed, GoneBy: gone[m.At]})
		}
	}
	return list, nil
}

// goneBy is when each of a folder's backups is rotated out.
func (k keeper) goneBy(all []backups.Made) map[time.Time]loops.Day {
	made := make([]time.Time, len(all))
	for i, m := range all {
		made[i] = m.At
	}
	return k.config.keep().Gone(made, k.config.nextBackup, k.config.Zone())
}
