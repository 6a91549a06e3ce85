// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"context"
	"fmt"

	"fillmark/loops/store/engine"
)

// Compact rewrites the file without the space that old pages take, and
// returns its size in bytes before and after. Reads and writes wait
// meanwhile. The new file is checked before it takes the place of the old one.
// On Windows another process can take the store in between, and this one gets
// loops.ErrInUse.
func (s *Store) Compact(ctx context.Context) (before, after int64, err error) {
	file, err := s.file()
	if err == nil {
		before, after, err = file.Compact(sound(ctx))
		s.touched.forget() // the count of revisions begins again
	}
	if err != nil {
		return 0, 0, fmt.Errorf("store: compact: %w", err)
	}
	return before, after, nil
}

// sound is a check that gives the first problem as an error.
func sound(ctx context.Context) func(engine.Engine) error {
	return func(kept engine.Engine) error {
		report, err := check(ctx, kept)
		if err != nil {
			return err
		}
		return report.err()
	}
}
