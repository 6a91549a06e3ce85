// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"os"
)

// ErrMoved says that the file of the store's name is not the one that is open:
// what is written is lost when the store is closed.
var ErrMoved = errors.New("the store's file was removed or replaced while it was open")

// Stands returns nil while the store's path names the file that is open, and an
// error that matches [ErrMoved] where it names another or none.
func (s *Store) Stands() error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	now, err := os.Stat(s.path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("%s: %w: nothing is there any more", s.path, ErrMoved)
	case err != nil:
		return fmt.Errorf("store: %w", err)
	case !os.SameFile(s.opened, now):
		return fmt.Errorf("%s: %w: another file is there now", s.path, ErrMoved)
	}
	return nil
}
