// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"image"
	"image/color"
	"image/draw"
)

// stripeRows is how many rows of a picture are turned into plain colours at a
// time: a large picture is not held twice.
const stripeRows = 64

// fit scales a picture down so that no edge is longer: each pixel becomes the
// mean of those that fall into it. It always draws a new picture on white, so that
// nothing but visible pixels remains.
func fit(img image.Image, edge int) *image.RGBA {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	if most := max(w, h); most > edge {
		w, h = max(1, w*edge/most), max(1, h*edge/most)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if w == b.Dx() && h == b.Dy() {
		draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
		draw.Draw(out, out.Bounds(), img, b.Min, draw.Over)
		return out
	}
	stripe := image.NewRGBA(image.Rect(0, 0, b.Dx(), min(stripeRows, b.Dy())))
	row := newBoxes(b.Dx(), w)
	y := 0 // the row of out that is being added up
	for top := 0; top < b.Dy(); top += stripeRows {
		rows := min(stripeRows, b.Dy()-top)
		area := image.Rect(0, 0, b.Dx(), rows)
		draw.Draw(stripe, area, image.NewUniform(color.White), image.Point{}, draw.Src)
		draw.Draw(stripe, area, img, b.Min.Add(image.Pt(0, top)), draw.Over)
		for i := range rows {
			if now := (top + i) * h / b.Dy(); now != y {
				row.write(out, y)
				y = now
			}
			row.add(stripe.Pix[i*stripe.Stride:])
		}
	}
	row.write(out, y)
	return out
}

// boxes adds up pixels into the boxes of one row of the smaller picture.
type boxes struct {
	of    []int       // the box of each pixel of a row
	sums  [][3]uint64 // of red, green and blue
	count []uint64
}

func newBoxes(from, to int) *boxes {
	b := &boxes{of: make([]int, from), sums: make([][3]uint64, to), count: make([]uint64, to)}
	for x := range b.of {
		b.of[x] = x * to / from
	}
	return b
}

func (b *boxes) add(pix []uint8) {
	for x, box := range b.of {
		sum := &b.sums[box]
		sum[0] += uint64(pix[4*x])
		sum[1] += uint64(pix[4*x+1])
		sum[2] += uint64(pix[4*x+2])
		b.count[box]++
	}
}

// write puts the means into a row and begins again.
func (b *boxes) write(out *image.RGBA, y int) {
	for x, sum := range b.sums {
		n := max(1, b.count[x])
		at := out.PixOffset(x, y)
		for c := range 3 {
			out.Pix[at+c] = uint8((sum[c] + n/2) / n)
		}
		out.Pix[at+3] = 255
		b.sums[x], b.count[x] = [3]uint64{}, 0
	}
}
