// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package drawing

import (
	"fmt"
	"image/color"
	"strings"

	"github.com/boombuler/barcode/qr"
)

// QR is a QR code (ISO/IEC 18004) as one path, drawn by the page in ink
// on white whatever the reader's colours are.
type QR struct {
	Path string
	Box  string // the drawing's view box, with the quiet zone of four modules
	Text string
}

// NewQR encodes the text with a quarter of it to spare, so that a label reads
// after a year on a warm radiator.
func NewQR(text string) (*QR, error) {
	code, err := qr.Encode(text, qr.Q, qr.Auto)
	if err != nil {
		return nil, fmt.Errorf("QR code of %q: %w", text, err)
	}
	const quiet = 4
	size := code.Bounds().Dx()
	dark := func(x, y int) bool { return code.At(x, y) == color.Black }
	var path strings.Builder
	for y := range size {
		for x := 0; x < size; x++ {
			run := 0
			for x+run < size && dark(x+run, y) {
				run++
			}
			if run > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x, y, run, run)
				x += run
			}
		}
	}
	return &QR{path.String(), fmt.Sprintf("-%d -%d %d %d", quiet, quiet, size+2*quiet, size+2*quiet), text}, nil
}
