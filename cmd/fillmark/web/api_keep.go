// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"path/filepath"
	"time"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/disk"
	"fillmark/loops"
)

// keeper is what can be done with the register's file as a whole.
type keeper interface {
	// Backup makes one in a folder that is not there yet, and notes it.
	Backup(ctx context.Context, to, by string, at time.Time) error
	// Scheduled makes one in the configured folder, as the schedule does.
	Scheduled(ctx context.Context, by string, at time.Time) (BackedUp, error)
	BackupList() ([]KeptBackup, error)
	Check(ctx context.Context) (CheckReport, error)
	Photos(ctx context.Context, of loops.OwnerID) ([]NamedPhoto, error)
	Compact(ctx context.Context) (before, after int64, err error)
	Export(ctx context.Context, out io.Writer) error
	ExportOwner(id loops.OwnerID, out io.Writer) error
	// BetweenBackups removes what a backup copies, while none is made.
	BetweenBackups(remove func() error) error
	// EraseOwner erases who an owner is. Where asked to it proves it; the proof is
	// nil otherwise.
	EraseOwner(ctx context.Context, id loops.OwnerID, by string, at time.Time, prove bool) (*ErasureProof, error)
}

// CheckReport is what a check of the whole file found.
type CheckReport struct {
	OK bool `json:"ok"`
	// Records counts the values of each kind.
	Records map[string]int `json:"records"`
	// Problems are of the register itself, Photos of the files beside it.
	Problems []string `json:"problems"`
	Photos   []string `json:"photos"`
	// Unnamed counts the photos that no history names: nothing wrong, compact
	// removes those older than a day.
	Unnamed int `json:"photos_unnamed"`
}

// NamedPhoto is a photo that a history names, and the first entry that does.
type NamedPhoto struct {
	Hash  string        `json:"hash"`
	Tag   loops.Tag     `json:"tag"`
	Entry loops.EntryID `json:"entry"`
	// Fault says what is wrong with its file; empty where nothing is.
	Fault string `json:"fault,omitempty"`
}

// String says which photo it is and what is wrong with it.
func (p NamedPhoto) String() string {
	return fmt.Sprintf("photo %s of loop %s, entry %d: %s", p.Hash, p.Tag, p.Entry, p.Fault)
}

// Compacted tells how much a compaction gave back, in bytes, and how many
// photos it removed that no history named.
type Compacted struct {
	Before  int64 `json:"before_bytes"`
	After   int64 `json:"after_bytes"`
	Removed int   `json:"photos_removed"`
}

// BackupTo says where a backup goes: a folder that is not there yet, as an
// absolute path on the register's computer. Without one it is made as the
// schedule does, in the configured folder.
type BackupTo struct {
	Folder string `json:"folder,omitempty"`
}

// BackedUp is a backup that was made.
type BackedUp struct {
	BackupTo
	// Second is where the copy in the second folder is; empty where there is none.
	Second string `json:"second,omitempty"`
	// Compared is how many lines the export of the restored backup had in common
	// with the register's: all of them. 0 where it was not restored for trial.
	Compared int `json:"lines_compared,omitempty"`
	// Removed are the backups that were rotated out.
	Removed []string `json:"removed,omitempty"`
}

// KeptBackup is a backup by schedule that is there.
type KeptBackup struct {
	Path      string    `json:"path"`
	Made      time.Time `json:"made"`
	Encrypted bool      `json:"encrypted"`
	// GoneBy is the day on which it is rotated out, where the schedule is kept.
	GoneBy loops.Day `json:"gone_by,omitzero"`
}

// stream answers with what a call writes. It goes through a temporary file, so
// that a failure is answered as such and a slow reader holds nothing open in
// the register.
func (s *server) stream(c call) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		err := func() error {
			if err := c.known(r); err != nil {
				return err
			}
			spool, err := disk.NewScratch()
			if err != nil {
				return err
			}
			defer func() { _ = spool.Close() }() // nobody reads it any more
			if err := c.write(r, spool); err != nil {
				return err
			}
			if _, err := spool.Seek(0, io.SeekStart); err != nil {
				return err
			}
			w.Header().Set("Content-Type", served(c.media))
			if _, err := io.Copy(w, spool); err != nil {
				s.Log.Warn("answer cut off", "pattern", r.Pattern, "error", err)
			}
			return nil
		}()
		if err == nil {
			return
		}
		s.writeFailure(w, r, err)
	})
}

// served is a media type as an answer's head has it.
func served(media string) string {
	if media == typeCSV {
		return media + "; charset=utf-8; header=present"
	}
	return media
}

func (s *server) exportAll(r *http.Request, _ struct{}, out io.Writer) error {
	return s.Keeper.Export(r.Context(), out)
}

func (s *server) exportOwner(_ *http.Request, id loops.OwnerID, out io.Writer) error {
	return s.Keeper.ExportOwner(id, out)
}

func (s *server) exportTable(_ *http.Request, name workshop.TableName, out io.Writer) error {
	return s.Workshop.WriteTable(name, out)
}

func (s *server) importTable(r *http.Request, dryRun bool, table io.Reader) (imported workshop.Imported, err error) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != typeCSV {
		return imported, &loops.InvalidError{Field: "Content-Type", Value: r.Header.Get("Content-Type"), Reason: typeCSV}
	}
	imported, err = s.Workshop.ImportTable(s.stamp(r), workshop.TableName(r.PathValue("table")), table, dryRun)
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return imported, &loops.InvalidError{Field: "file", Value: "too long", Reason: fmt.Sprintf("at most %d MB in one go: split the table", tooLong.Limit>>20)}
	}
	return imported, err
}

func (s *server) backup(r *http.Request, to BackupTo) (BackedUp, error) {
	stamp := s.stamp(r)
	if to.Folder == "" {
		return s.Keeper.Scheduled(r.Context(), stamp.By, stamp.At)
	}
	made := BackedUp{BackupTo: to}
	if !filepath.IsAbs(to.Folder) {
		return made, &loops.InvalidError{Field: "folder", Value: to.Folder, Reason: "an absolute path on the register's computer"}
	}
	return made, s.Keeper.Backup(r.Context(), to.Folder, stamp.By, stamp.At)
}

func (s *server) backups() ([]KeptBackup, error) { return s.Keeper.BackupList() }

// formOpen is how long a photo may lie beside the register before a form that would
// name it counts as given up by whoever asks for a compaction.
const formOpen = 24 * time.Hour

func (s *server) compact(r *http.Request) (Compacted, error) {
	before, after, err := s.Keeper.Compact(r.Context())
	if err != nil {
		return Compacted{}, err
	}
	compacted := Compacted{Before: before, After: after}
	return compacted, s.Keeper.BetweenBackups(func() error {
		compacted.Removed, err = s.Workshop.RemoveUnnamedPhotos(s.Now().Add(-formOpen))
		return err
	})
}

func (s *server) check(r *http.Request) (CheckReport, error) {
	report, err := s.Keeper.Check(r.Context())
	if err != nil || len(report.Problems) > 0 { // histories that cannot be read name nothing
		return report, err
	}
	unnamed, err := s.Workshop.UnnamedPhotos()
	report.Unnamed = len(unnamed)
	return report, err
}
