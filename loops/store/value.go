// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"

	jsonv2 "github.com/go-json-experiment/json"
	jsonv1 "github.com/go-json-experiment/json/v1"

	"fillmark/loops"
)

// crcWidth is the length of the checksum before the JSON of a value.
const crcWidth = 4

// checksum is CRC32C (Castagnoli), which RFC 3720 section 12.1 describes.
func checksum(b []byte) uint32 { return crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)) }

// value is what stands in the file for one record: its version first, so that
// a reader knows what follows.
type value[T any] struct {
	Version int `json:"v"`
	Record  T   `json:"record"`
}

// encode returns the checksum and the JSON of a record of the version.
func encode[T any](version int, record T) ([]byte, error) {
	b := bytes.NewBuffer(make([]byte, crcWidth, 512))
	text := json.NewEncoder(b)
	text.SetEscapeHTML(false)
	if err := text.Encode(value[T]{version, record}); err != nil {
		return nil, err
	}
	out := bytes.TrimSuffix(b.Bytes(), []byte("\n"))
	binary.BigEndian.PutUint32(out, checksum(out[crcWidth:]))
	return out, nil
}

// payload returns the JSON of a value after comparing its checksum.
func payload(stored []byte) ([]byte, error) {
	if len(stored) < crcWidth {
		return nil, fmt.Errorf("%w: the value has %d bytes", loops.ErrDamaged, len(stored))
	}
	sum, text := binary.BigEndian.Uint32(stored), stored[crcWidth:]
	if got := checksum(text); got != sum {
		return nil, fmt.Errorf("%w: checksum %08x, written as %08x", loops.ErrDamaged, got, sum)
	}
	return text, nil
}

// decode reads a value strictly: another version, an unknown field or anything
// after the record is an error, never lost data.
func decode[T any](version int, stored []byte) (T, error) {
	var v value[T]
	text, err := payload(stored)
	if err != nil {
		return v.Record, err
	}
	if err = strict(text, &v); err == nil && v.Version == version {
		return v.Record, nil
	}
	var peek struct {
		Version int `json:"v"`
	}
	if json.Unmarshal(text, &peek) == nil && peek.Version != version {
		return v.Record, fmt.Errorf("version %d of the record, this program knows %d", peek.Version, version)
	}
	return v.Record, fmt.Errorf("version %d: %w", version, err)
}

// strict decodes one JSON value with no unknown field and nothing after it. It
// reads as encoding/json does, in half the time, but a name in another case is an
// unknown field.
func strict(text []byte, into any) error {
	return jsonv2.Unmarshal(text, into, jsonv1.DefaultOptionsV1(), jsonv2.RejectUnknownMembers(true), jsonv2.MatchCaseInsensitiveNames(false))
}
