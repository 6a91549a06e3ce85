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

func evidenceTable() table[loops.Evidence] {
	return table[loops.Evidence]{
		kind: "evidence", bucket: bucketEvidence, exported: true, decode: decodeV1[loops.Evidence],
		encode: func(e loops.Evidence) ([]byte, error) {
			e.Made = e.Made.UTC()
			return encodeV1(e)
		},
		key: func(e loops.Evidence) ([]byte, error) { return idOf(e.Version) },
	}
}

func watchTable() table[loops.PatternWatch] {
	return table[loops.PatternWatch]{
		kind: "watch", bucket: bucketWatches, exported: true, encode: encodeV1[loops.PatternWatch], decode: decodeV1[loops.PatternWatch],
		key: func(w loops.PatternWatch) ([]byte, error) { return idOf(w.ID) },
	}
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
	return read(s, "store: evidence", func(tx engine.Reader) (e loops.Evidence, err error) {
		if _, v := engine.First(tx.Descend(bucketEvidence, engine.Span{})); v != nil {
			return evidenceTable().decode(v)
		}
		return e, nil
	})
}

// Evidences yields every version, the newest first.
func (s *Store) Evidences() iter.Seq2[loops.Evidence, error] {
	return evidenceTable().newest(s)
}

// PutEvidence records the next version, with a line of the audit. A version
// that does not follow the newest one gives loops.ErrConflict.
func (s *Store) PutEvidence(e loops.Evidence, by string) error {
	return s.write("store: evidence", func(tx engine.Writer) error {
		if last := lastOf(tx, bucketEvidence); e.Version != last+1 {
			return fmt.Errorf("version %d does not follow %d: %w", e.Version, last, loops.ErrConflict)
		}
		if err := evidenceTable().replace(tx, nil, e); err != nil {
			return err
		}
		return audit(tx, loops.AuditLine{At: e.Made, By: by, Action: "evidence", On: fmt.Sprintf("evidence %d", e.Version)})
	})
}

// AddWatch records a watch under the next number, with a line of the audit.
func (s *Store) AddWatch(w loops.PatternWatch, at time.Time) (loops.PatternWatch, error) {
	err := s.write("store: watch", func(tx engine.Writer) error {
		w.ID = loops.WatchID(lastOf(tx, bucketWatches) + 1)
		if err := watchTable().replace(tx, nil, w); err != nil {
			return err
		}
		return audit(tx, loops.AuditLine{At: at, By: w.By, Action: "watch add", On: fmt.Sprintf("watch %d", w.ID)})
	})
	if err != nil {
		return loops.PatternWatch{}, err
	}
	return w, nil
}

// ReadWatch keeps the reading of a watch, with a line of the audit. A second one
// is loops.ErrConflict: a watch is read once.
func (s *Store) ReadWatch(id loops.WatchID, reading loops.WatchReading, by string, at time.Time) error {
	return s.write("store", func(tx engine.Writer) error {
		w, err := watchTable().get(tx, idKey(id))
		if err != nil {
			return err
		}
		if w.Reading != nil {
			return fmt.Errorf("watch %d: %w", id, loops.ErrConflict)
		}
		w.Reading = &reading
		if err := watchTable().replace(tx, nil, w); err != nil {
			return err
		}
		return audit(tx, loops.AuditLine{At: at, By: by, Action: "watch read", On: fmt.Sprintf("watch %d", id)})
	})
}

// Watches yields every watch by number.
func (s *Store) Watches() iter.Seq2[loops.PatternWatch, error] {
	return watchTable().all(s)
}
