// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"bytes"
	"image"

	"github.com/bep/imagemeta"
)

// orientation reads how the camera was held: 1 to 8 as the Exif standard
// numbers them (CIPA DC-008, tag 274). A file that does not say it, or whose
// metadata is broken, reads as 1, upright: the pixels count.
func orientation(format string, file []byte) int {
	kinds := map[string]imagemeta.ImageFormat{"JPEG": imagemeta.JPEG, "PNG": imagemeta.PNG, "WebP": imagemeta.WebP}
	found := 1
	_, err := imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(file), ImageFormat: kinds[format], Sources: imagemeta.EXIF,
		ShouldHandleTag: func(tag imagemeta.TagInfo) bool {
			return tag.Namespace == "IFD0" && tag.Tag == "Orientation"
		},
		HandleTag: func(tag imagemeta.TagInfo) error {
			if n, ok := tag.Value.(uint16); ok && n >= 1 && n <= 8 {
				found = int(n)
			}
			return nil
		},
	})
	if err != nil {
		return 1
	}
	return found
}

// upright turns a picture as its orientation says.
func upright(src *image.RGBA, orientation int) *image.RGBA {
	if orientation == 1 {
		return src
	}
	b := src.Bounds()
	w, h := b.Dx(), b.Dy()
	if orientation >= 5 { // on its side
		w, h = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := source(orientation, x, y, b.Dx(), b.Dy())
			copy(out.Pix[out.PixOffset(x, y):][:4], src.Pix[src.PixOffset(sx, sy):])
		}
	}
	return out
}

// source tells which pixel of the picture as stored, w wide and h high, stands
// at x, y of the upright one.
func source(orientation, x, y, w, h int) (sx, sy int) {
	switch orientation {
	case 2: // mirrored
		return w - 1 - x, y
	case 3: // upside down
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6: // to be turned right
		return y, h - 1 - x
	case 7:
		return w - 1 - y, h - 1 - x
	case 8: // to be turned left
		return w - 1 - y, x
	}
	return x, y
}
