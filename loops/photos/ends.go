// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"bytes"
	"encoding/binary"
)

// jpegEnd finds the byte behind the end marker of the first picture (ITU-T
// T.81, annex B). The thumbnail inside a metadata segment is passed over,
// because segments say how long they are.
func jpegEnd(b []byte) (int, bool) {
	const (
		endOfImage  = 0xd9
		startOfScan = 0xda
	)
	at := 2 // behind the start marker
	for at+4 <= len(b)+2 {
		if at+2 > len(b) || b[at] != 0xff {
			return 0, false
		}
		marker := b[at+1]
		switch {
		case marker == 0xff: // fill byte
			at++
			continue
		case marker == endOfImage:
			return at + 2, true
		case marker >= 0xd0 && marker <= 0xd7 || marker == 0x01: // no length
			at += 2
			continue
		}
		if at+4 > len(b) {
			return 0, false
		}
		at += 2 + int(binary.BigEndian.Uint16(b[at+2:]))
		if marker == startOfScan {
			at = scanEnd(b, at)
		}
	}
	return 0, false
}

// scanEnd finds the first marker behind coded data, in which 0xff is followed
// by zero or a restart marker.
func scanEnd(b []byte, at int) int {
	for ; at+1 < len(b); at++ {
		if next := b[at+1]; b[at] == 0xff && next != 0 && (next < 0xd0 || next > 0xd7) {
			return at
		}
	}
	return len(b)
}

// pngEnd finds the byte behind the IEND chunk (ISO/IEC 15948).
func pngEnd(b []byte) (int, bool) {
	for at := 8; at+12 <= len(b); {
		length := int64(binary.BigEndian.Uint32(b[at:]))
		kind := string(b[at+4 : at+8])
		next := int64(at) + 12 + length
		if next > int64(len(b)) {
			return 0, false
		}
		at = int(next)
		if kind == "IEND" {
			return at, true
		}
	}
	return 0, false
}

// webpEnd is where the RIFF header says that the file ends (RFC 9649).
func webpEnd(b []byte) (int, bool) {
	end := 8 + int64(binary.LittleEndian.Uint32(b[4:]))
	return int(min(end, int64(len(b)))), end <= int64(len(b))
}

// foreign counts the bytes behind a picture that do not belong to it. Padding
// does, and what cameras append: further pictures, and a short film.
func foreign(tail []byte) int {
	rest := bytes.Trim(tail, "\x00")
	film := len(tail) > 8 && string(tail[4:8]) == "ftyp" // ISO/IEC 14496-12
	if film || bytes.HasPrefix(rest, []byte("\xff\xd8\xff")) {
		return 0
	}
	return len(rest)
}
