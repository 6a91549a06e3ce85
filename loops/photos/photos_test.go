// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/photos"
	"fillmark/testdata/peer"
)

// corners is a picture whose four quarters are red, green, blue and white,
// clockwise from the upper left, w wide and h high.
func corners(w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{255, 0, 0, 255}
			switch {
			case x >= w/2 && y < h/2:
				c = color.RGBA{0, 255, 0, 255}
			case x >= w/2:
				c = color.RGBA{0, 0, 255, 255}
			case y >= h/2:
				c = color.RGBA{255, 255, 255, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	return img
}

func asJPEG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}))
	return b.Bytes()
}

func asPNG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

func output(t *testing.T, path string, args ...string) string {
	t.Helper()
	out, err := exec.Command(path, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return string(out)
}

func TestReadKinds(t *testing.T) {
	t.Parallel()
	webp, err := os.ReadFile("testdata/corners.webp")
	require.NoError(t, err)
	for _, tt := range []struct {
		name string
		file []byte
	}{{"JPEG", asJPEG(t, corners(64, 40))}, {"PNG", asPNG(t, corners(64, 40))}, {"WebP", webp}} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p, err := photos.Read(tt.file)
			require.NoError(t, err)
			assert.Equal(t, []int{64, 40}, []int{p.Width, p.Height})
			assert.Equal(t, photos.Hash(p.JPEG), p.Hash)
			assert.True(t, photos.IsHash(p.Hash))
			assert.Equal(t, "rgbw", quarters(t, p.JPEG))
			again, err := photos.Read(tt.file)
			require.NoError(t, err)
			assert.Equal(t, p, again, "the same file is the same photo")
		})
	}
}

// quarters names the colours of the four quarters, clockwise.
func quarters(t *testing.T, file []byte) string {
	t.Helper()
	img, err := jpeg.Decode(bytes.NewReader(file))
	require.NoError(t, err)
	b := img.Bounds()
	var names strings.Builder
	for _, at := range []image.Point{{b.Dx() / 4, b.Dy() / 4}, {b.Dx() * 3 / 4, b.Dy() / 4}, {b.Dx() * 3 / 4, b.Dy() * 3 / 4}, {b.Dx() / 4, b.Dy() * 3 / 4}} {
		r, g, bl, _ := img.At(at.X, at.Y).RGBA()
		switch high := func(v uint32) bool { return v > 0x8000 }; {
		case high(r) && high(g) && high(bl):
			names.WriteString("w")
		case high(r):
			names.WriteString("r")
		case high(g):
			names.WriteString("g")
		case high(bl):
			names.WriteString("b")
		}
	}
	return names.String()
}

// withExif puts an orientation, and a place in the Atlantic, into a JPEG.
func withExif(file []byte, orientation uint16) []byte {
	var tiff bytes.Buffer
	le := binary.LittleEndian
	entry := func(tag, kind uint16, count, value uint32) {
		_ = binary.Write(&tiff, le, struct {
			Tag, Kind    uint16
			Count, Value uint32
		}{tag, kind, count, value})
	}
	tiff.WriteString("II*\x00\x08\x00\x00\x00")
	_ = binary.Write(&tiff, le, uint16(2))
	entry(0x0112, 3, 1, uint32(orientation))
	entry(0x8825, 4, 1, 38) // GPS
	_ = binary.Write(&tiff, le, uint32(0))
	_ = binary.Write(&tiff, le, uint16(1))
	entry(1, 2, 2, 'N') // latitude's half
	_ = binary.Write(&tiff, le, uint32(0))
	payload := append([]byte("Exif\x00\x00"), tiff.Bytes()...)
	segment := append([]byte{0xff, 0xe1, 0, 0}, payload...)
	binary.BigEndian.PutUint16(segment[2:], uint16(len(payload)+2))
	return append(append(bytes.Clone(file[:2]), segment...), file[2:]...)
}

// The eight orientations of CIPA DC-008 (Exif 2.32), tag 274: where row 0 and
// column 0 of the stored picture lie in the upright one.
func TestReadTurnsUpright(t *testing.T) {
	t.Parallel()
	stored := asJPEG(t, corners(64, 32))
	for orientation, want := range map[uint16]string{
		0: "rgbw", 1: "rgbw", 2: "grwb", 3: "bwrg", 4: "wbgr", 5: "rwbg", 6: "wrgb", 7: "bgrw", 8: "gbwr", 9: "rgbw",
	} {
		p, err := photos.Read(withExif(stored, orientation))
		require.NoError(t, err)
		assert.Equal(t, want, quarters(t, p.JPEG), "orientation %d", orientation)
		sideways := orientation >= 5 && orientation <= 8
		assert.Equal(t, sideways, p.Height > p.Width, "orientation %d", orientation)
	}
}

// ImageMagick's -auto-orient is the other opinion on how a photo stands.
func TestOrientationAgainstImageMagick(t *testing.T) {
	t.Parallel()
	convert := peer.Program(t, "convert")
	for orientation := uint16(1); orientation <= 8; orientation++ {
		dir := t.TempDir()
		in, out := filepath.Join(dir, "in.jpg"), filepath.Join(dir, "out.jpg")
		file := withExif(asJPEG(t, corners(64, 32)), orientation)
		require.NoError(t, os.WriteFile(in, file, 0o600))
		output(t, convert, in, "-auto-orient", out)
		theirs, err := os.ReadFile(out)
		require.NoError(t, err)
		p, err := photos.Read(file)
		require.NoError(t, err)
		assert.Equal(t, quarters(t, theirs), quarters(t, p.JPEG), "orientation %d", orientation)
	}
}

func TestKeptFilesHoldNoMetadata(t *testing.T) {
	t.Parallel()
	exiftool, identify := peer.Program(t, "exiftool"), peer.Program(t, "identify")
	dir := t.TempDir()
	in := filepath.Join(dir, "in.jpg")
	require.NoError(t, os.WriteFile(in, withExif(asJPEG(t, corners(900, 700)), 6), 0o600))
	output(t, exiftool, "-q", "-overwrite_original", "-Artist=Somebody", "-Comment=somewhere", "-XMP:Creator=Somebody", "-IPTC:City=Somewhere",
		"-GPSLatitude=38.7", "-GPSLatitudeRef=N", "-CameraSerialNumber=123", in)
	file, err := os.ReadFile(in)
	require.NoError(t, err)
	p, err := photos.Read(file)
	require.NoError(t, err)
	folder := photos.Folder(filepath.Join(dir, "photos"))
	_, err = folder.Keep(p)
	require.NoError(t, err)
	for _, size := range []string{"", "-small"} {
		kept := filepath.Join(string(folder), p.Hash+size+".jpg")
		groups := output(t, exiftool, "-a", "-G", "-s", kept)
		for line := range strings.Lines(groups) {
			group, _, _ := strings.Cut(line, "]")
			assert.Contains(t, []string{"[File", "[ExifTool", "[Composite"}, group, line)
		}
		assert.NotContains(t, groups, "Somebody")
		assert.NotContains(t, groups, "somewhere")
		assert.Contains(t, output(t, identify, "-regard-warnings", kept), "JPEG", "ImageMagick decodes it")
	}
}

func TestReadScalesDown(t *testing.T) {
	t.Parallel()
	p, err := photos.Read(asPNG(t, corners(photos.MaxEdge+200, 300)))
	require.NoError(t, err)
	assert.Equal(t, photos.MaxEdge, p.Width)
	small, err := jpeg.DecodeConfig(bytes.NewReader(p.Small))
	require.NoError(t, err)
	assert.Equal(t, photos.SmallEdge, small.Width)
	assert.Equal(t, "rgbw", quarters(t, p.Small))
}

// hugePNG says that it is w times h pixels and holds none of them.
func hugePNG(w, h uint32) []byte {
	header := binary.BigEndian.AppendUint32(nil, w)
	header = append(binary.BigEndian.AppendUint32(header, h), 8, 2, 0, 0, 0)
	out := []byte("\x89PNG\r\n\x1a\n")
	for _, chunk := range []struct {
		kind string
		data []byte
	}{{"IHDR", header}, {"IEND", nil}} {
		body := append([]byte(chunk.kind), chunk.data...)
		out = binary.BigEndian.AppendUint32(out, uint32(len(chunk.data)))
		out = binary.BigEndian.AppendUint32(append(out, body...), crc32.ChecksumIEEE(body))
	}
	return out
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	good := asJPEG(t, corners(200, 160))
	goodPNG := asPNG(t, corners(200, 160))
	webp, err := os.ReadFile("testdata/corners.webp")
	require.NoError(t, err)
	script := []byte("<script>alert(1)</script>")
	tests := []struct {
		name string
		file []byte
		says string
	}{
		{"nothing", nil, "this is none"},
		{"text", []byte("a letter to the workshop"), "this is none"},
		{"drawing", []byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>`), "SVG are not taken"},
		{"GIF", []byte("GIF89a\x01\x00\x01\x00\x00\x00\x00;"), "this is none"},
		{"page with a picture inside", append(script, good...), "this is none"},
		{"200 megapixels", hugePNG(20_000, 10_000), "at most 50 megapixels; this has 200"},
		{"absurd size", hugePNG(1<<31-1, 1<<31-1), "whole PNG file"},
		{"too many bytes", append(bytes.Clone(good), make([]byte, photos.MaxBytes)...), "at most 32 MB"},
		{"JPEG cut off", good[:len(good)*2/3], "cut off"},
		{"JPEG without an end", good[:len(good)-2], "cut off"},
		{"JPEG's first bytes", good[:5], "cannot be read"},
		{"PNG cut off", goodPNG[:len(goodPNG)/2], "cut off"},
		{"WebP cut off", webp[:len(webp)-9], "cut off"},
		{"PNG damaged", damaged(goodPNG), "cut off or damaged"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := photos.Read(tt.file)
			var bad *photos.RefusedError
			require.ErrorAs(t, err, &bad)
			assert.ErrorContains(t, err, tt.says)
		})
	}
}

func damaged(file []byte) []byte {
	out := bytes.Clone(file)
	out[len(out)/2] ^= 0x55
	return out
}

// A picture that ends before its end is none, wherever it was cut.
func TestReadRefusesWhatIsCutOff(t *testing.T) {
	t.Parallel()
	webp, err := os.ReadFile("testdata/corners.webp")
	require.NoError(t, err)
	webp = webp[:len(webp)-1] // without its padding
	for name, file := range map[string][]byte{"JPEG": asJPEG(t, corners(40, 30)), "PNG": asPNG(t, corners(40, 30)), "WebP": webp} {
		for end := range file {
			_, err := photos.Read(file[:end])
			var bad *photos.RefusedError
			require.ErrorAs(t, err, &bad, "%s of %d bytes, cut off at %d", name, len(file), end)
		}
	}
}

// What stands behind a picture, as cameras and others append it, is not kept.
func TestReadDropsWhatStandsBehind(t *testing.T) {
	t.Parallel()
	webp, err := os.ReadFile("testdata/corners.webp")
	require.NoError(t, err)
	good := asJPEG(t, corners(200, 160))
	for kind, file := range map[string][]byte{"JPEG": good, "PNG": asPNG(t, corners(200, 160)), "WebP": webp} {
		plain, err := photos.Read(file)
		require.NoError(t, err)
		for name, tail := range map[string][]byte{
			"padding": make([]byte, 40), "second picture": good, "film": []byte("\x00\x00\x00\x18ftypmp42 and so on"),
			"page": []byte("<script>alert(1)</script>"), "archive": []byte("PK\x03\x04 and more"), "program": []byte("\x7fELF"),
		} {
			p, err := photos.Read(append(bytes.Clone(file), tail...))
			require.NoError(t, err, "%s, %s", kind, name)
			assert.Equal(t, plain.Hash, p.Hash, "%s, %s", kind, name)
		}
	}
	hidden := append(bytes.Clone(good[:2]), "\xff\xfe\x00\x1b<script>alert(1)</script>"...)
	p, err := photos.Read(append(hidden, good[2:]...))
	require.NoError(t, err)
	assert.NotContains(t, string(p.JPEG), "script")
}

func TestFolder(t *testing.T) {
	t.Parallel()
	folder := photos.Folder(filepath.Join(t.TempDir(), "photos"))
	p, err := photos.Read(asJPEG(t, corners(600, 400)))
	require.NoError(t, err)

	_, err = folder.Read(p.Hash, photos.Full)
	require.ErrorIs(t, err, fs.ErrNotExist)
	already, err := folder.Keep(p)
	require.NoError(t, err)
	assert.False(t, already)
	already, err = folder.Keep(p)
	require.NoError(t, err)
	assert.True(t, already, "the same photo twice is stored once and says so")

	full, err := folder.Read(p.Hash, photos.Full)
	require.NoError(t, err)
	assert.Equal(t, p.JPEG, full)
	small, err := folder.Read(p.Hash, photos.Small)
	require.NoError(t, err)
	assert.Equal(t, p.Small, small)
	files, err := os.ReadDir(string(folder))
	require.NoError(t, err)
	assert.Len(t, files, 2, "nothing half made is left")

	require.NoError(t, os.WriteFile(filepath.Join(string(folder), p.Hash+".jpg"), full[:100], 0o600))
	already, err = folder.Keep(p)
	require.NoError(t, err)
	assert.False(t, already, "a damaged file is written again")

	p.Hash = strings.Repeat("0", 64)
	_, err = folder.Keep(p)
	require.Error(t, err)
	for _, name := range []string{"", "../secret", strings.Repeat("g", 64), strings.Repeat("A", 64)} {
		_, err := folder.Read(name, photos.Full)
		assert.ErrorIs(t, err, fs.ErrNotExist, name)
	}
}

func TestFolderLists(t *testing.T) {
	t.Parallel()
	folder := photos.Folder(filepath.Join(t.TempDir(), "photos"))
	all, err := folder.List()
	require.NoError(t, err)
	assert.Empty(t, all, "no folder, no photo")

	p, err := photos.Read(asJPEG(t, corners(60, 40)))
	require.NoError(t, err)
	_, err = folder.Keep(p)
	require.NoError(t, err)
	old, half := time.Date(2026, time.January, 5, 9, 0, 0, 0, time.UTC), strings.Repeat("0a", 32)
	for _, name := range []string{p.Hash + ".jpg", p.Hash + "-small.jpg", "." + p.Hash + ".jpg123", half + "-small.jpg", "notes.txt", half + ".jpg.bak"} {
		path := filepath.Join(string(folder), name)
		if _, err := os.Stat(path); err != nil {
			require.NoError(t, os.WriteFile(path, []byte("x"), 0o600))
		}
		require.NoError(t, os.Chtimes(path, old, old))
	}
	all, err = folder.List()
	require.NoError(t, err)
	require.Len(t, all, 2, "what is somebody else's is not listed")
	assert.ElementsMatch(t, []string{p.Hash, half}, []string{all[0].Hash, all[1].Hash})
	assert.WithinDuration(t, old, all[0].At, time.Second)

	already, err := folder.Keep(p)
	require.NoError(t, err)
	require.True(t, already)
	all, err = folder.List()
	require.NoError(t, err)
	for _, k := range all {
		assert.Equal(t, k.Hash == p.Hash, k.At.After(old.AddDate(0, 0, 1)), "one that is taken in again counts as new")
	}

	require.NoError(t, folder.RemoveUnfinished(old))
	assert.FileExists(t, filepath.Join(string(folder), "."+p.Hash+".jpg123"), "it may still be written")
	require.NoError(t, folder.RemoveUnfinished(old.Add(time.Hour)))
	assert.NoFileExists(t, filepath.Join(string(folder), "."+p.Hash+".jpg123"))
	assert.FileExists(t, filepath.Join(string(folder), half+".jpg.bak"))
	assert.True(t, folder.Has(p.Hash))
}

func TestFolderThatCannotBeWritten(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	p, err := photos.Read(asJPEG(t, corners(30, 20)))
	require.NoError(t, err)
	_, err = photos.Folder(filepath.Join(file, "photos")).Keep(p)
	require.Error(t, err)
}

func FuzzRead(f *testing.F) {
	webp, err := os.ReadFile("testdata/corners.webp")
	require.NoError(f, err)
	f.Add(asJPEG(f, corners(16, 12)))
	f.Add(withExif(asJPEG(f, corners(16, 12)), 6))
	f.Add(asPNG(f, corners(16, 12)))
	f.Add(webp)
	f.Add(hugePNG(20_000, 10_000))
	f.Fuzz(func(t *testing.T, file []byte) {
		p, err := photos.Read(file)
		if err != nil {
			var bad *photos.RefusedError
			if !errors.As(err, &bad) {
				t.Fatalf("an error that nobody can act on: %v", err)
			}
			return
		}
		config, err := jpeg.DecodeConfig(bytes.NewReader(p.JPEG))
		require.NoError(t, err)
		assert.Equal(t, []int{p.Width, p.Height}, []int{config.Width, config.Height})
		assert.LessOrEqual(t, max(p.Width, p.Height), photos.MaxEdge)
	})
}

func BenchmarkRead12Megapixels(b *testing.B) {
	file := asJPEG(b, corners(4000, 3000))
	b.SetBytes(int64(len(file)))
	for b.Loop() {
		if _, err := photos.Read(file); err != nil {
			b.Fatal(err)
		}
	}
}

func TestAgain(t *testing.T) {
	t.Parallel()
	p, err := photos.Read(asJPEG(t, corners(900, 600)))
	require.NoError(t, err)
	again, err := photos.Again(p.JPEG, p.Small)
	require.NoError(t, err)
	assert.Equal(t, p, again, "nothing is encoded again")

	for name, small := range map[string][]byte{"lost": nil, "no picture": []byte("letter"), "too large": p.JPEG} {
		drawn, err := photos.Again(p.JPEG, small)
		require.NoError(t, err, name)
		assert.Equal(t, p.JPEG, drawn.JPEG, name)
		config, err := jpeg.DecodeConfig(bytes.NewReader(drawn.Small))
		require.NoError(t, err, name)
		assert.Equal(t, []int{480, 320}, []int{config.Width, config.Height}, name)
		assert.Equal(t, "rgbw", quarters(t, drawn.Small), name)
	}

	var refused *photos.RefusedError
	for name, full := range map[string][]byte{"no picture": []byte("letter"), "PNG": asPNG(t, corners(8, 8)), "too large": asJPEG(t, image.NewGray(image.Rect(0, 0, 4001, 1)))} {
		_, err := photos.Again(full, nil)
		require.ErrorAs(t, err, &refused, name)
	}
}

func TestHas(t *testing.T) {
	t.Parallel()
	folder := photos.Folder(t.TempDir())
	p, err := photos.Read(asJPEG(t, corners(64, 40)))
	require.NoError(t, err)
	assert.False(t, folder.Has(p.Hash))
	_, err = folder.Keep(p)
	require.NoError(t, err)
	assert.True(t, folder.Has(p.Hash))
	small := filepath.Join(string(folder), p.Hash+"-small.jpg")
	require.NoError(t, os.Remove(small))
	assert.False(t, folder.Has(p.Hash))
	already, err := folder.Keep(p)
	require.NoError(t, err)
	assert.False(t, already)
	assert.FileExists(t, small)
	assert.False(t, folder.Has("../x"))
	require.NoError(t, folder.Remove(p.Hash))
	assert.NoFileExists(t, small)
	assert.False(t, folder.Has(p.Hash))
	assert.NoError(t, folder.Remove(p.Hash), "gone already")
	assert.NoError(t, folder.Remove("../x"))
}
