// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"fillmark/loops"
	"fillmark/loops/evidence"
)

// Learn works the evidence out again from the whole register, keeps it as the next
// version where it says something else, and brings the plans up to date that
// were made from another policy. It returns how many plans it wrote.
func (w *Workshop) Learn(ctx context.Context, s Stamp) (int, error) {
	cases, err := w.Cases()
	if err != nil {
		return 0, fmt.Errorf("evidence: %w", err)
	}
	if err := w.readWatches(s, cases); err != nil {
		return 0, fmt.Errorf("evidence: %w", err)
	}
	is, err := evidence.Of(cases)
	if err != nil {
		return 0, fmt.Errorf("evidence: %w", err)
	}
	was, err := w.register.Evidence()
	if err != nil {
		return 0, err
	}
	if !is.Same(was) {
		is = is.Follow(was, s.At)
		err := w.register.PutEvidence(is, s.By)
		if err != nil && !errors.Is(err, loops.ErrConflict) { // else somebody learnt the same just now
			return 0, err
		}
	}
	done, err := w.Replan(ctx, s, replanBatch)
	return done.Renewed, err
}

// replanBatch is how many loops are planned again in one change.
const replanBatch = 50

// EvidenceVersions lists every version of the evidence, the newest first.
func (w *Workshop) EvidenceVersions() ([]loops.Evidence, error) {
	versions, err := gather(w.register.Evidences())
	return slices.Concat([]loops.Evidence{}, versions), err
}
