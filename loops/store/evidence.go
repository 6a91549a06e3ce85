// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"iter"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

type evidenceV1 struct {
	Version uint64                 `json:"version"`
	Made    time.Time              `json:"made"`
	Ages    []loops.EvidenceAge    `json:"ages,omitempty"`
	Notices []loops.EvidenceNotice `json:"notices,omitempty"`
}

type watchV1 struct {
	ID         loops.WatchID       `json:"id"`
	Cause      loops.Cause         `json:"cause"`
	Trait      string              `json:"trait"`
	Registered loops.Day           `json:"registered"`
	ReadAt     int                 `json:"read_at,omitempty"`
	By         string              `json:"by"`
	Why        string              `json:"why,omitempty"`
	Reading    *loops.WatchReading `json:"reading,omitempty"`
}

func encodeEvidence(e loops.Evidence) ([]byte, error) {
	e.Made = e.Made.UTC()
	return encode(recordV1, evidenceV1(e))
}

func decodeEvidence(stored []byte) (loops.Evidence, error) {
	v, err := decode[evidenceV1](recordV1, stored)
	return loops.Evidence(v), err
}

func encodeWatch(w loops.PatternWatch) ([]byte, error) { return encode(recordV1, watchV1(w)) }

func decodeWatch(stored []byte) (loops.PatternWatch, error) {
	v, err := decode[watchV1](recordV1, stored)
	return loops.PatternWatch(v), err
}

// lastOf returns the number of the newest record of a bucket, zero if none.
func lastOf(tx engine.Reader, name string) uint64 {
	k, _ := engine.First(tx.Descend(name, engine.Span{}))
	if len(k) != idWidth {
		return 0
	}
	return lastID(k)
}

// Evidence returns the newest version; the zero value where there is none.
func (s *Store) Evidence() (loops.Evidence, error) {
	var e loops.Evidence
	err := s.view(func(tx engine.Reader) error {
		_, v := engine.First(tx.Descend(bucketEvidence, engine.Span{}))
		if v == nil {
			return nil
		}
		var err error
		e, err = decodeEvidence(v)
		return err
	})
	if err != nil {
		return loops.Evidence{}, fmt.Errorf("store: evidence: %w", err)
	}
	return e, nil
}

// Evidences yields every version, the newest first.
func (s *Store) Evidences() iter.Seq2[loops.Evidence, error] {
	return scan(s, bucketEvidence, true, func(_ engine.Reader, _, v []byte) (loops.Evidence, error) { return decodeEvidence(v) })
}

// PutEvidence records the next version, with a line of the audit. A version
// that does not follow the newest one gives loops.ErrConflict.
func (s *Store) PutEvidence(e loops.Evidence, by string) error {
	v, err := encodeEvidence(e)
	if err != nil {
		return fmt.Errorf("store: evidence: %w", err)
	}
	line, err := encodeAudit(loops.AuditLine{At: e.Made, By: by, Action: "evidence", On: fmt.Sprintf("evidence %d", e.Version)})
	if err != nil {
		return fmt.Errorf("store: evidence: %w", err)
	}
	err = s.update(func(tx engine.Writer) error {
		if last := lastOf(tx, bucketEvidence); e.Version != last+1 {
			return fmt.Errorf("version %d does not follow %d: %w", e.Version, last, loops.ErrConflict)
		}
		if err := tx.Put(bucketEvidence, idKey(e.Version), v); err != nil {
			return err
		}
		return appendAudit(tx, line)
	})
	if err != nil {
		return fmt.Errorf("store: evidence: %w", err)
	}
	return nil
}

// AddWatch records a watch under the next number, with a line of the audit.
func (s *Store) AddWatch(w loops.PatternWatch, at time.Time) (loops.PatternWatch, error) {
	err := s.update(func(tx engine.Writer) error {
		w.ID = loops.WatchID(lastOf(tx, bucketWatches) + 1)
		v, err := encodeWatch(w)
		if err != nil {
			return err
		}
		line, err := encodeAudit(loops.AuditLine{At: at, By: w.By, Action: "watch add", On: fmt.Sprintf("watch %d", w.ID)})
		if err != nil {
			return err
		}
		if err := tx.Put(bucketWatches, idKey(w.ID), v); err != nil {
			return err
		}
		return appendAudit(tx, line)
	})
	if err != nil {
		return loops.PatternWatch{}, fmt.Errorf("store: watch: %w", err)
	}
	return w, nil
}

// ReadWatch keeps the reading of a watch, with a line of the audit. A second one
// is loops.ErrConflict: a watch is read once.
func (s *Store) ReadWatch(id loops.WatchID, reading loops.WatchReading, by string, at time.Time) error {
	err := s.update(func(tx engine.Writer) error {
		stored := tx.Get(bucketWatches, idKey(id))
		if stored == nil {
			return loops.ErrNotFound
		}
		w, err := decodeWatch(stored)
		if err != nil {
			return err
		}
		if w.Reading != nil {
			return loops.ErrConflict
		}
		w.Reading = &reading
		v, err := encodeWatch(w)
		if err != nil {
			return err
		}
		line, err := encodeAudit(loops.AuditLine{At: at, By: by, Action: "watch read", On: fmt.Sprintf("watch %d", id)})
		if err != nil {
			return err
		}
		if err := tx.Put(bucketWatches, idKey(id), v); err != nil {
			return err
		}
		return appendAudit(tx, line)
	})
	if err != nil {
		return fmt.Errorf("store: watch %d: %w", id, err)
	}
	return nil
}

// Watches yields every watch by number.
func (s *Store) Watches() iter.Seq2[loops.PatternWatch, error] {
	return scan(s, bucketWatches, false, func(_ engine.Reader, _, v []byte) (loops.PatternWatch, error) { return decodeWatch(v) })
}
