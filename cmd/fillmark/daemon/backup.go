// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"fillmark/cmd/fillmark/backups"
	"fillmark/cmd/fillmark/web"
	"fillmark/disk"
	"fillmark/loops"
	"fillmark/loops/store"
)

// keeper looks after the register as a whole: the file, and what lies beside it.
type keeper struct {
	*store.Store
	config Config
	making *sync.Mutex // held while a backup is made, or what one copies is removed
	lead   *leader     // nil with a file
}

// Compact leaves a database to make room by itself: zero before and after.
func (k keeper) Compact(ctx context.Context) (before, after int64, err error) {
	if k.config.InDatabase() {
		return 0, 0, k.leadsAlone()
	}
	return k.Store.Compact(ctx)
}

// leadsAlone refuses what only one of several daemons may do at a time, where another
// one leads.
func (k keeper) leadsAlone() error {
	is, err := k.Store.Leader()
	if err == nil && is.Holder != "" && !k.lead.leads() {
		return &loops.InvalidError{
			Field: "daemon", Value: is.Holder, Reason: "it leads, and the one that leads alone removes photos that no history names: run compact there, or once it has ended",
		}
	}
	return err
}

// Check reads the whole file.
func (k keeper) Check(ctx context.Context) (web.CheckReport, error) {
	report, err := k.Store.Check(ctx)
	answer := web.CheckReport{OK: err == nil && report.OK(), Records: report.Records, Problems: []string{}, Photos: []string{}}
	for _, p := range report.Problems {
		answer.Problems = append(answer.Problems, p.String())
	}
	if !answer.OK {
		return answer, err
	}
	named, err := k.Photos(ctx, 0)
	for _, p := range named {
		if p.Fault != "" {
			answer.OK, answer.Photos = false, append(answer.Photos, p.String())
		}
	}
	return answer, err
}

// PhotosFolder is where photos lie, beside the register and in a backup.
const PhotosFolder = backups.Photos

// Backup copies the register, its keys and its photos into a folder that is
// not there yet; the register is copied while it is written to, and the copy
// checked. The folder gets its name when all is in it: one that a kill left
// behind is never taken for a backup. On any other fault it is removed again.
func (k keeper) Backup(ctx context.Context, to, by string, at time.Time) (err error) {
	if k.config.InDatabase() {
		return store.ErrNoFile
	}
	k.making.Lock()
	defer k.making.Unlock()
	to = filepath.Clean(to)
	refused := &loops.InvalidError{Field: "folder", Value: to, Reason: "a folder that is not there yet, inside one that is"}
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return refused
	}
	part, err := os.MkdirTemp(filepath.Dir(to), filepath.Base(to)+backups.Unfinished)
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			refused.Reason += " and may be written to (" + err.Error() + ")"
		}
		return refused
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(part)) // only what was made here
		}
	}()
	if err := k.fill(ctx, part, io.Discard); err != nil {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	if err := disk.SyncFolder(filepath.Dir(to)); err != nil {
		return err
	}
	// The copy of a register that is gone is whole, and the way back; a full disk is
	// an error, since erasing goes by the note.
	if err := k.Note(loops.AuditLine{At: at, By: by, Action: backupMade, On: to}); !errors.Is(err, loops.ErrGone) {
		return err
	}
	return nil
}

// BetweenBackups removes what a backup copies, while none is made.
func (k keeper) BetweenBackups(remove func() error) error {
	k.making.Lock()
	defer k.making.Unlock()
	return remove()
}

// fill copies all that a backup holds into a folder, and writes the export of the
// same moment. The photos follow the register, so that none is missing that its
// copy names.
func (k keeper) fill(ctx context.Context, folder string, exported io.Writer) error {
	if err := k.Store.BackupAndExport(ctx, filepath.Join(folder, backups.Register), exported); err != nil {
		return err
	}
	beside := k.config.Beside()
	// First: one in the folder of keys that is called as it will be gives way to the
	// one that mail is signed with.
	if key := k.config.Mail.DKIMKeyFile; key != "" && filepath.Dir(key) != filepath.Join(beside, backups.Keys) {
		if err := disk.CopyAll(key, filepath.Join(folder, backups.Keys, k.config.Mail.DKIMSelector+".pem")); err != nil {
			return fmt.Errorf("backup of the DKIM key: %w", err)
		}
	}
	for _, name := range []string{backups.Keys, PhotosFolder} {
		if err := copyFolder(filepath.Join(beside, name), filepath.Join(folder, name)); err != nil {
			return fmt.Errorf("backup of the %s: %w", name, err)
		}
	}
	return nil
}

// Restore puts a backup where the configuration has the register, where
// nothing may be yet. One that is encrypted is opened with an identity of age out
// of a file.
func Restore(ctx context.Context, c Config, from, identity string) error {
	info, err := os.Stat(from)
	switch sealed := err == nil && info.Mode().IsRegular() && strings.HasSuffix(from, backups.SealedEnding); {
	case sealed && identity == "":
		return &loops.InvalidError{Field: "identity", Value: identity, Reason: "the file with the identity that opens " + filepath.Base(from)}
	case sealed:
		return restoreSealed(ctx, c, from, identity)
	}
	if _, err := os.Stat(filepath.Join(from, backups.Register)); err != nil {
		return &loops.InvalidError{Field: "folder", Value: from, Reason: "a folder that fillmark backup made, with " + backups.Register + " in it, or a file " + backups.Name(time.Date(2026, 12, 3, 1, 30, 0, 0, time.UTC)) + backups.SealedEnding}
	}
	if strings.Contains(filepath.Base(from), backups.Unfinished) {
		return &loops.InvalidError{Field: "folder", Value: from, Reason: "a backup that was finished; this one was cut off, and keys or photos may be missing"}
	}
	return restore(ctx, c, from)
}

// restoreSealed unpacks beside where the register will be, and restores from
// there.
func restoreSealed(ctx context.Context, c Config, from, identity string) (err error) {
	if err := nothingAt(c); err != nil {
		return err
	}
	beside := c.Beside()
	if err := os.MkdirAll(beside, 0o700); err != nil {
		return fmt.Errorf("folder of the register: %w", err)
	}
	plain, err := os.MkdirTemp(beside, "restore"+backups.Unfinished)
	if err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(plain)) }()
	if err := backups.Unseal(from, plain, identity); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	return restore(ctx, c, plain)
}

// nothingAt refuses a place where something is.
func nothingAt(c Config) error {
	beside := c.Beside()
	for _, path := range []string{c.Store, filepath.Join(beside, backups.Keys), filepath.Join(beside, PhotosFolder)} {
		if _, err := os.Lstat(path); err == nil {
			return &loops.InvalidError{Field: "store", Value: path, Reason: "a place where nothing is yet: nothing is ever overwritten, so move this aside first"}
		}
	}
	return nil
}

// restore puts what a backup's folder holds where nothing is. The register comes
// last: one without its keys would be taken for whole, and given others. Where it
// cannot be put there, nothing is left.
func restore(ctx context.Context, c Config, from string) (err error) {
	if err := nothingAt(c); err != nil {
		return err
	}
	beside := c.Beside()
	if err := os.MkdirAll(beside, 0o700); err != nil {
		return fmt.Errorf("folder of the register: %w", err)
	}
	var made []string
	defer func() {
		if _, there := os.Lstat(c.Store); err == nil || !errors.Is(there, fs.ErrNotExist) {
			return
		}
		for _, folder := range made { // only what was made here
			err = errors.Join(err, os.RemoveAll(folder))
		}
	}()
	for _, name := range []string{backups.Keys, PhotosFolder} {
		folder := filepath.Join(beside, name)
		if err := os.Mkdir(folder, 0o700); err != nil {
			return fmt.Errorf("restore of the %s: %w", name, err)
		}
		made = append(made, folder)
		if err := copyFolder(filepath.Join(from, name), folder); err != nil {
			return fmt.Errorf("restore of the %s: %w", name, err)
		}
	}
	return store.Restore(ctx, filepath.Join(from, backups.Register), c.Store)
}

// copyFolder copies the files of a folder that are not in the other one yet; one
// that is not there has none.
func copyFolder(from, to string) error {
	if _, err := os.Stat(from); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return disk.CopyMissing(from, to)
}
