// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package pictures makes the large photos and the bombs that tests of several
// packages send.
package pictures

import (
	"encoding/binary"
	"image"
	"image/color"
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

// Halves is red above and blue below.
func Halves(w, h int) image.Image {
	return painted{w, h, func(_, y int) color.RGBA {
		if y < h/2 {
			return color.RGBA{255, 0, 0, 255}
		}
		return color.RGBA{0, 0, 255, 255}
	}}
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

// LosslessWebP is a picture of one colour in a few dozen bytes, however large:
// each of its five codes has one symbol, which takes no bits at all.
func LosslessWebP(w, h int) []byte {
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
