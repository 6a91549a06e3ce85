// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos_test

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/photos"
	"fillmark/testdata/pictures"
	"fillmark/testdata/seeded"
)

// inFile writes what a test makes into a file.
func inFile(t testing.TB, write func(*os.File) error) *os.File {
	t.Helper()
	file, err := os.Create(filepath.Join(t.TempDir(), "upload"))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, file.Close()) })
	require.NoError(t, write(file))
	return file
}

func content(t testing.TB, bytes []byte) *os.File {
	t.Helper()
	return inFile(t, func(f *os.File) error { _, err := f.Write(bytes); return err })
}

func cell(t testing.TB) photos.Cell {
	t.Helper()
	own, err := photos.OwnCell(os.Args[0])
	require.NoError(t, err)
	return own
}

// residentMB is this process's memory that is in use, in megabytes.
func residentMB(t testing.TB) float64 {
	t.Helper()
	status, err := os.ReadFile("/proc/self/status")
	require.NoError(t, err)
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			kb, err := strconv.Atoi(strings.Fields(rest)[0])
			require.NoError(t, err)
			return float64(kb) / 1024
		}
	}
	require.Fail(t, "no VmRSS")
	return 0
}

// A cell makes the same photo as the process itself.
func TestCellReadsAsTheProcessDoes(t *testing.T) {
	t.Parallel()
	file := asJPEG(t, corners(64, 40))
	want, err := photos.Read(file)
	require.NoError(t, err)
	got, err := cell(t).Read(t.Context(), content(t, file))
	require.NoError(t, err)
	assert.Equal(t, want, got)
	_, err = cell(t).Read(t.Context(), content(t, []byte("no picture")))
	var refused *photos.RefusedError
	require.ErrorAs(t, err, &refused)
	assert.Contains(t, refused.Reason, "JPEG, PNG or WebP")
}

// What decoding would take more memory for than a cell has is refused by its
// header, in words that say what to do.
func TestBombsAreRefusedBeforeDecoding(t *testing.T) {
	t.Parallel()
	var wide bytes.Buffer
	require.NoError(t, png.Encode(&wide, image.NewRGBA64(image.Rect(0, 0, 5000, 5000))))
	for name, file := range map[string][]byte{
		"WebP, 7071 × 7071": pictures.LosslessWebP(7071, 7071),
		"PNG, 16 bits":      wide.Bytes(),
	} {
		_, err := photos.Read(file)
		var refused *photos.RefusedError
		require.ErrorAs(t, err, &refused, name)
		assert.Contains(t, refused.Reason, "smaller", name)
	}
	p, err := photos.Read(pictures.LosslessWebP(900, 700))
	require.NoError(t, err, "a small one of the kind is read")
	assert.Equal(t, 900, p.Width)
}

// An honest portrait of 50 megapixels is kept, upright and scaled.
func TestCellKeepsFiftyMegapixels(t *testing.T) {
	t.Parallel()
	w, h := 8160, 6120
	if testing.Short() {
		w, h = 5000, 3000
	}
	var file bytes.Buffer
	require.NoError(t, jpeg.Encode(&file, pictures.Halves(w, h), nil))
	p, err := cell(t).Read(t.Context(), content(t, withExif(file.Bytes(), 6)))
	require.NoError(t, err)
	assert.Equal(t, photos.MaxEdge, p.Height, "turned upright")
	assert.InDelta(t, float64(photos.MaxEdge*h/w), float64(p.Width), 1)
	kept, err := jpeg.Decode(bytes.NewReader(p.JPEG))
	require.NoError(t, err)
	r, _, b, _ := kept.At(p.Width-10, p.Height/2).RGBA()
	assert.Greater(t, r, b, "the upper half lies to the right")
}

// Whatever is sent, the process that asks keeps its memory. In full length it is
// sixty bombs and portraits.
func TestCampaignCellKeepsMemory(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("reads /proc of Linux")
	}
	rounds := 1
	if seeded.Long() {
		rounds = 10
	}
	portrait := inFile(t, func(f *os.File) error { return jpeg.Encode(f, pictures.Halves(6120, 8160), nil) })
	paletted := inFile(t, func(f *os.File) error {
		return png.Encode(f, image.NewPaletted(image.Rect(0, 0, 7000, 7000), color.Palette{color.White, color.Black}))
	})
	runtime.GC()
	own := cell(t)
	before, most, refused, kept := residentMB(t), 0.0, 0, 0
	for range rounds {
		for _, file := range []*os.File{
			portrait, paletted, content(t, pictures.LosslessWebP(7071, 7071)), content(t, pictures.LosslessWebP(4000, 4000)),
			content(t, pictures.LosslessWebP(16000, 3000)), content(t, []byte("\xff\xd8\xff\xe0nothing")),
		} {
			if _, err := own.Read(t.Context(), file); err != nil {
				var no *photos.RefusedError
				require.ErrorAs(t, err, &no)
				refused++
			} else {
				kept++
			}
			most = max(most, residentMB(t))
		}
	}
	t.Logf("%d files, %d kept, %d refused; memory %.0f MB before, %.0f MB at most", refused+kept, kept, refused, before, most)
	assert.Less(t, most-before, 20.0, "MB")
	assert.Equal(t, 3*rounds, kept, "the portrait, the drawing in two colours, and the WebP that fits")
}
