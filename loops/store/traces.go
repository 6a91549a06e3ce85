// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Trace is a place in the store at which one of the texts stands that were
// looked for.
type Trace struct {
	Bucket string
	Key    string // readable: "12/3" is entry 3 of loop 12
	Phrase int    // its place in the list of the texts
}

// Traces looks for texts everywhere in the store: in every bucket, in the keys,
// in every text of every record, and in the texts of mail as reader decodes
// them. It returns each place once for each text, and how many texts it looked
// at.
func (s *Store) Traces(ctx context.Context, of loops.Phrases, reader func(mail []byte) []string) (found []Trace, looked int, err error) {
	err = s.view(func(tx engine.Reader) error {
		for _, name := range buckets() {
			for k, v := range tx.Ascend(name, engine.Span{}) {
				if ctx.Err() != nil {
					return ctx.Err()
				}
				texts, err := textsOf(name, k, v, reader)
				if err != nil {
					return fmt.Errorf("bucket %s: %s: %w", name, printKey(name, k), err)
				}
				looked += len(texts)
				found = append(found, tracesIn(texts, of, name, k)...)
			}
		}
		return nil
	})
	if err != nil {
		return nil, 0, fmt.Errorf("store: traces: %w", err)
	}
	return found, looked, nil
}

// tracesIn returns the texts that stand at one place, each once.
func tracesIn(texts []string, of loops.Phrases, name string, key []byte) []Trace {
	var found []Trace
	seen := map[int]bool{}
	for _, text := range texts {
		for _, i := range of.In(text) {
			if !seen[i] {
				seen[i] = true
				found = append(found, Trace{name, printKey(name, key), i})
			}
		}
	}
	return found
}

// textsOf lists what can be read at one place: the key and the texts of the
// record, and of mail what its reader would see.
func textsOf(name string, key, stored []byte, reader func([]byte) []string) ([]string, error) {
	texts := []string{string(key)}
	if len(stored) == 0 {
		return texts, nil // an index
	}
	if name == bucketMeta {
		return append(texts, string(stored)), nil
	}
	if name == bucketBodies {
		body, err := decodeBody(stored)
		if err != nil {
			return nil, err
		}
		return append(texts, reader(body.Raw)...), nil
	}
	text, err := payload(stored)
	if err != nil {
		return nil, err
	}
	return jsonTexts(texts, text)
}

// jsonTexts adds every text that stands in a JSON value.
func jsonTexts(texts []string, value []byte) ([]string, error) {
	d := json.NewDecoder(bytes.NewReader(value))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return texts, nil
		}
		if err != nil {
			return nil, err
		}
		if text, ok := token.(string); ok {
			texts = append(texts, text)
		}
	}
}

// InFile tells which of the texts stand in the file as bytes, whatever pages
// they are in: also those that no record is read from any more.
func (s *Store) InFile(texts []string) (found []int, size int64, err error) {
	if _, err := s.file(); err != nil {
		return nil, 0, fmt.Errorf("store: traces: %w", err)
	}
	file, err := os.Open(s.path)
	if err != nil {
		return nil, 0, fmt.Errorf("store: traces: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	info, err := file.Stat()
	if err != nil {
		return nil, 0, fmt.Errorf("store: traces: %w", err)
	}
	seen := make([]bool, len(texts))
	wanted := make([][]byte, len(texts))
	for i, text := range texts {
		if wanted[i], err = inJSON(text); err != nil {
			return nil, 0, err
		}
	}
	const step, most = 1 << 20, 8 << 10 // no text is longer than most
	window := make([]byte, step+most)
	for from := int64(0); from < info.Size(); from += step {
		n, err := file.ReadAt(window, from)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, 0, fmt.Errorf("store: traces: %w", err)
		}
		for i, text := range wanted {
			seen[i] = seen[i] || len(text) > 0 && bytes.Contains(window[:n], text)
		}
	}
	for i := range seen {
		if seen[i] {
			found = append(found, i)
		}
	}
	return found, info.Size(), nil
}

// inJSON is a text as it stands between the quotes in the file.
func inJSON(text string) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(text); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes()[1:], []byte("\"\n")), nil
}
