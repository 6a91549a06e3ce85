// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops/photos"
)

// errPhotos says that files beside the register are not what histories name.
var errPhotos = errors.New("the register is sound, but photos beside it are missing or damaged")

// photosBeside is the folder that was named, or the one beside a file; empty
// where neither is.
func photosBeside(named, file string) photos.Folder {
	if named == "" && file != "" {
		named = filepath.Join(filepath.Dir(file), daemon.PhotosFolder)
	}
	return photos.Folder(named)
}

// exportPhotos copies every photo that the path lists into the folder. Without
// a folder, and for photos that are not there whole, it says what is left out.
func (a *app) exportPhotos(ctx context.Context, path string, to photos.Folder) error {
	return a.with(ctx, func(c *client) error {
		named, err := call[struct{ Items []web.NamedPhoto }](ctx, c, "GET", path, nil)
		if err != nil {
			return err
		}
		if to == "" {
			if n := len(named.Items); n > 0 {
				fmt.Fprintf(a.errOut, "fillmark: left out: %s. --photos FOLDER writes them too.\n", plural(n, "photo"))
			}
			return nil
		}
		_, err = during(a, "exporting photos", func() (photos.Folder, error) {
			for _, p := range named.Items {
				if p.Fault != "" {
					fmt.Fprintf(a.errOut, "fillmark: left out: %s.\n", p)
				} else if err := fetchPhoto(ctx, c, p.Hash, to); err != nil {
					return to, err
				}
			}
			return to, nil
		})
		return err
	})
}

// fetchPhoto downloads a photo with its small copy into a folder, unless it is
// there.
func fetchPhoto(ctx context.Context, c *client, hash string, to photos.Folder) error {
	if to.Has(hash) {
		return nil
	}
	full, err := fetch(ctx, c, "/photos/"+hash+".jpg")
	if err != nil {
		return fmt.Errorf("photo %s: %w", hash, err)
	}
	small, err := fetch(ctx, c, "/photos/"+hash+string(photos.Small)+".jpg")
	if err != nil {
		small = nil // lost; it is drawn again
	}
	return to.KeepAgain(hash, full, small)
}

func fetch(ctx context.Context, c *client, path string) ([]byte, error) {
	response, err := c.send(ctx, "GET", path, content{})
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	return io.ReadAll(response.Body)
}
