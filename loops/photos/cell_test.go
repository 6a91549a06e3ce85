// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos_test

import (
	"bytes"
	"encoding/binary"
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
)

// painted is a picture that is worked out as it is asked for, so that a test
// can write a large one without holding it.
type painted struct {
	w, h int
	at   func(x, y int) color.RGBA
}

func (p painted) ColorModel() color.Model { return color.RGBAModel }
func (p painted) Bounds() image.Rectangle { return image.Rect(0, 0, p.w, p.h) }
func (p painted) At(x, y int) color.Color { return p.at(x, y) }

// halves is red above and blue below.
func halves(w, h int) painted {
	return painted{w, h, func(_, y int) color.RGBA {
		if y < h/2 {
			return color.RGBA{255, 0, 0, 255}
		}
		return color.RGBA{0, 0, 255, 255}
	}}
}

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

// bits writes numbers of so many bits, the lowest first, as RFC 9649 has them.
type bits struct {
	out  []byte
	used uint
}

func (b *bits) put(value uint64, width uint) {
	for i := range width {
		if b.used%8 == 0 {
			b.out = append(b.out, 0)
		}
		b.out[len(b.out)-1] |= byte(value>>i&1) << (b.used % 8)
		b.used++
	}
}

// losslessWebP is a picture of one colour in a few dozen bytes, however large:
// each of its five codes has one symbol, which takes no bits at all.
func losslessWebP(w, h int) []byte {
	var b bits
	b.put(0x2f, 8)
	b.put(uint64(w-1), 14)
	b.put(uint64(h-1), 14)
	b.put(0, 1) // no transparency
	b.put(0, 3) // version
	b.put(0, 1) // no transform
	b.put(0, 1) // no colour cache
	b.put(0, 1) // one group of codes
	for range 5 {
		b.put(1, 1) // a simple code
		b.put(0, 1) // of one symbol
		b.put(0, 1) // of one bit
		b.put(0, 1) // which is 0
	}
	if len(b.out)%2 == 1 {
		b.out = append(b.out, 0)
	}
	head := func(kind string, length int) []byte {
		return binary.LittleEndian.AppendUint32([]byte(kind), uint32(length))
	}
	chunk := append(head("VP8L", len(b.out)), b.out...)
	return append(append(head("RIFF", 4+len(chunk)), "WEBP"...), chunk...)
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
		"WebP, 7071 × 7071": losslessWebP(7071, 7071),
		"PNG, 16 bits":      wide.Bytes(),
	} {
		_, err := photos.Read(file)
		var refused *photos.RefusedError
		require.ErrorAs(t, err, &refused, name)
		assert.Contains(t, refused.Reason, "smaller", name)
	}
	p, err := photos.Read(losslessWebP(900, 700))
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
	require.NoError(t, jpeg.Encode(&file, halves(w, h), nil))
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
	if os.Getenv("FILLMARK_CAMPAIGN") == "full" {
		rounds = 10
	}
	portrait := inFile(t, func(f *os.File) error { return jpeg.Encode(f, halves(6120, 8160), nil) })
	paletted := inFile(t, func(f *os.File) error {
		return png.Encode(f, image.NewPaletted(image.Rect(0, 0, 7000, 7000), color.Palette{color.White, color.Black}))
	})
	runtime.GC()
	own := cell(t)
	before, most, refused, kept := residentMB(t), 0.0, 0, 0
	for range rounds {
		for _, file := range []*os.File{
			portrait, paletted, content(t, losslessWebP(7071, 7071)), content(t, losslessWebP(4000, 4000)),
			content(t, losslessWebP(16000, 3000)), content(t, []byte("\xff\xd8\xff\xe0nothing")),
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
