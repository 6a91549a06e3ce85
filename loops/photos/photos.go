// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package photos takes in pictures of opened loops: it decodes JPEG, PNG and
// WebP within bounds, turns them upright, and makes new JPEG files of nothing
// but the pixels, so that no place, owner or device stays in them.
//
// [Read] turns the bytes of an upload into a [Photo]; [Folder] keeps photos
// under the SHA-256 of their bytes, whole or not at all. [Cell] runs Read in a
// process of its own with a bound on memory and time, for files from outside.
// Lengths are in pixels and bytes. Read is a pure function; all are safe for
// concurrent use, but one Read can need some hundred megabytes, so callers run
// one at a time.
//
// Callers may match [RefusedError] for a file that is no photo to keep, and
// fs.ErrNotExist for a photo that is not there.
package photos

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"os"

	"golang.org/x/image/webp"
)

// The bounds of what is taken in, and the sizes of what is kept.
const (
	MaxBytes  = 32 << 20   // of a file
	MaxPixels = 50_000_000 // of a picture, before it is decoded
	MaxEdge   = 4000       // longer edge as kept, in pixels; larger ones are scaled down
	SmallEdge = 480        // longer edge of the small copy, in pixels
)

// Quality of the JPEG files: at this one a second encoding shows no
// difference to the eye.
const (
	quality      = 92
	smallQuality = 85
)

// RefusedError is a file that is not kept, and what would be right.
type RefusedError struct{ Reason string }

// Error says what would be right.
func (e *RefusedError) Error() string { return e.Reason }

func refused(format string, args ...any) error {
	return &RefusedError{fmt.Sprintf(format, args...)}
}

// Photo is a picture ready to be kept.
type Photo struct {
	// Hash is the SHA-256 of JPEG in 64 small hexadecimal digits.
	Hash          string
	Width, Height int // in pixels, upright
	JPEG          []byte
	Small         []byte // the small copy, a JPEG as well
}

// format is one kind of file that is read.
type format struct {
	name   string
	is     func([]byte) bool
	config func([]byte) (image.Config, error)
	decode func([]byte) (image.Image, error)
}

func formats() []format {
	return []format{
		{
			"JPEG", func(b []byte) bool { return bytes.HasPrefix(b, []byte("\xff\xd8\xff")) },
			func(b []byte) (image.Config, error) { return jpeg.DecodeConfig(bytes.NewReader(b)) },
			func(b []byte) (image.Image, error) { return jpeg.Decode(bytes.NewReader(b)) },
		},
		{
			"PNG", func(b []byte) bool { return bytes.HasPrefix(b, []byte("\x89PNG\r\n\x1a\n")) },
			func(b []byte) (image.Config, error) { return png.DecodeConfig(bytes.NewReader(b)) },
			func(b []byte) (image.Image, error) { return png.Decode(bytes.NewReader(b)) },
		},
		{
			"WebP", func(b []byte) bool {
				return len(b) >= 12 && string(b[:4]) == "RIFF" && string(b[8:12]) == "WEBP"
			},
			func(b []byte) (image.Config, error) { return webp.DecodeConfig(bytes.NewReader(b)) },
			func(b []byte) (image.Image, error) { return webp.Decode(bytes.NewReader(b)) },
		},
	}
}

// Read makes a photo of an uploaded file, or returns a [*RefusedError]: for a
// file that is none of JPEG, PNG and WebP, is cut off, or is larger than the bounds.
// What stands behind the picture is not kept, as nothing is but its pixels.
func Read(file []byte) (Photo, error) {
	if len(file) > MaxBytes {
		return Photo{}, tooLarge(int64(len(file)))
	}
	kept, err := picture(file)
	if err != nil {
		return Photo{}, err
	}
	small := fit(kept, SmallEdge)
	p := Photo{Width: kept.Bounds().Dx(), Height: kept.Bounds().Dy()}
	if p.JPEG, err = encode(kept, quality); err != nil {
		return Photo{}, err
	}
	if p.Small, err = encode(small, smallQuality); err != nil {
		return Photo{}, err
	}
	p.Hash = Hash(p.JPEG)
	return p, nil
}

// ReadFile is [Read] of an open file, in this process: for files that are known
// to be harmless.
func ReadFile(_ context.Context, file *os.File) (Photo, error) {
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return Photo{}, fmt.Errorf("photos: %w", err)
	}
	content, err := io.ReadAll(file)
	if err != nil {
		return Photo{}, fmt.Errorf("photos: %w", err)
	}
	return Read(content)
}

func tooLarge(bytes int64) error {
	return refused("a photo of at most %d MB; this has %d MB", MaxBytes>>20, (bytes+1<<20-1)>>20)
}

// Again makes a photo of the two files of one that was kept before, such as
// those beside an export. The hash proves the first; a small copy that is
// missing, or no JPEG of its size, is drawn again. It returns a
// [*RefusedError] where the first is no JPEG either.
func Again(full, small []byte) (Photo, error) {
	config, err := jpeg.DecodeConfig(bytes.NewReader(full))
	if err != nil || max(config.Width, config.Height) > MaxEdge {
		return Photo{}, refused("a JPEG file as it was kept, of at most %d pixels each way", MaxEdge)
	}
	p := Photo{Hash: Hash(full), Width: config.Width, Height: config.Height, JPEG: full, Small: small}
	if s, err := jpeg.DecodeConfig(bytes.NewReader(small)); err == nil && max(s.Width, s.Height) <= SmallEdge {
		return p, nil
	}
	img, err := jpeg.Decode(bytes.NewReader(full))
	if err != nil {
		return Photo{}, refused("a whole JPEG file; this one is cut off or damaged (%v)", err)
	}
	p.Small, err = encode(fit(img, SmallEdge), smallQuality)
	return p, err
}

// Hash names content by its SHA-256.
func Hash(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// picture decodes a file whose kind, size and need of memory were looked at
// before, and returns it upright, no edge longer than [MaxEdge].
func picture(file []byte) (*image.RGBA, error) {
	for _, f := range formats() {
		if !f.is(file) {
			continue
		}
		config, err := f.config(file)
		if err != nil {
			return nil, refused("a whole %s file; this one cannot be read (%v)", f.name, err)
		}
		if pixels := int64(config.Width) * int64(config.Height); pixels < 1 || pixels > MaxPixels {
			return nil, refused("a photo of at most %d megapixels; this has %.0f (%d × %d)", MaxPixels/1_000_000, float64(pixels)/1e6, config.Width, config.Height)
		}
		if bytes := need(f.name, file, config); bytes > maxDecoded {
			pixels := float64(config.Width) * float64(config.Height)
			return nil, refused("a smaller photo: of this kind of %s up to %.0f megapixels can be read, and this has %.0f (%d × %d). Save it smaller, or as an ordinary JPEG",
				f.name, pixels*maxDecoded/float64(bytes)/1e6, pixels/1e6, config.Width, config.Height)
		}
		img, err := f.decode(file)
		if err != nil {
			return nil, refused("a whole %s file; this one is cut off or damaged (%v)", f.name, err)
		}
		return upright(fit(img, MaxEdge), orientation(f.name, file)), nil
	}
	return nil, refused("a JPEG, PNG or WebP file; this is none (drawings such as SVG are not taken)")
}

func encode(img image.Image, quality int) ([]byte, error) {
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("photos: encode: %w", err)
	}
	return out.Bytes(), nil
}
