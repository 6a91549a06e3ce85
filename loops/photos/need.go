// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"encoding/binary"
	"image"
	"image/color"
)

// maxDecoded is what decoding a picture may take, in bytes. What a picture
// takes is worked out from its header by what Go's decoders allocate; a
// baseline JPEG of [MaxPixels] fits whatever its sampling.
const maxDecoded = 160 << 20

// need is what decoding a picture of the format takes, in bytes.
func need(format string, file []byte, config image.Config) int64 {
	pixels := int64(config.Width) * int64(config.Height)
	switch format {
	case "JPEG":
		return jpegNeed(file, pixels)
	case "PNG":
		bytes := int64(4)
		if _, ok := config.ColorModel.(color.Palette); ok {
			bytes = 1
		}
		switch config.ColorModel {
		case color.RGBA64Model, color.NRGBA64Model:
			bytes = 8
		case color.GrayModel:
			bytes = 1
		case color.Gray16Model:
			bytes = 2
		}
		if len(file) > 28 && file[28] == 1 { // interlaced: the passes beside the whole
			bytes *= 2
		}
		return bytes * pixels
	}
	if webpLossless(file) {
		return 10 * pixels // the picture, and what its transforms are undone in
	}
	return 3 * pixels // 4:2:0, and a layer of transparency
}

// webpLossless tells a WebP file coded without loss, or with a layer that may
// be (RFC 9649, section 2.6).
func webpLossless(file []byte) bool {
	return len(file) >= 16 && string(file[12:16]) == "VP8L"
}

// jpegNeed reads the frame header (ITU-T T.81, B.2.2): a sample is a byte, and
// where the picture comes in several scans four more for its coefficient.
func jpegNeed(file []byte, pixels int64) int64 {
	const unknown = 15 // of every pixel three samples, in several scans
	for at := 2; at+9 < len(file); {
		if file[at] != 0xff {
			return unknown * pixels
		}
		marker := file[at+1]
		if marker == 0xff {
			at++
			continue
		}
		length := int(binary.BigEndian.Uint16(file[at+2:]))
		if marker >= 0xc0 && marker <= 0xc2 {
			return frameNeed(file[at+4:min(len(file), at+2+length)], marker == 0xc2, pixels)
		}
		at += 2 + length
	}
	return unknown * pixels
}

// frameNeed reads the components of a frame: how many samples a pixel has.
func frameNeed(frame []byte, scans bool, pixels int64) int64 {
	if len(frame) < 6 || len(frame) < 6+3*int(frame[5]) {
		return 15 * pixels
	}
	var most, all int64
	for i := range int(frame[5]) {
		h, v := int64(frame[6+3*i+1]>>4), int64(frame[6+3*i+1]&15)
		most, all = max(most, h*v), all+h*v
	}
	if most == 0 {
		return 15 * pixels
	}
	samples := (all*pixels + most - 1) / most
	if frame[5] == 4 { // a picture for print is turned into another beside itself
		samples += 4 * pixels
	}
	if scans {
		samples *= 5
	}
	return samples
}
