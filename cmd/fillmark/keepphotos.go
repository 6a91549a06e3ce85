// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"fillmark/loops"
	"fillmark/loops/photos"
)

// photoProblems compares the photos that openings name with the files beside
// the register: each is there and is what it was.
func (k keep) photoProblems(ctx context.Context) ([]string, error) {
	var problems []string
	folder := photos.Folder(filepath.Join(filepath.Dir(k.config.Store), backupPhotos))
	for l, err := range k.Loops() {
		if err != nil {
			return problems, err
		}
		if err := ctx.Err(); err != nil {
			return problems, err
		}
		history, err := k.History(l.ID)
		if err != nil {
			return problems, err
		}
		for _, e := range loops.Standing(history) {
			if e.Kind != loops.KindOpening {
				continue
			}
			for _, photo := range e.Opening.Photos {
				content, err := folder.Read(photo.Hash, photos.Full)
				switch {
				case errors.Is(err, fs.ErrNotExist):
					problems = append(problems, fmt.Sprintf("photo %s of loop %s, entry %d: the file is missing", photo.Hash, l.Tag, e.ID))
				case err != nil:
					return problems, err
				case photos.Hash(content) != photo.Hash:
					problems = append(problems, fmt.Sprintf("photo %s of loop %s, entry %d: the file is damaged", photo.Hash, l.Tag, e.ID))
				}
			}
		}
	}
	return problems, nil
}
