// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"html"
	"io"
	"io/fs"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// deepest is how far parts of mail inside parts are followed.
const deepest = 8

// Texts returns what can be read in a mail, whoever wrote it: its headers and
// the texts of its parts, decoded. What cannot be decoded comes as it stands.
func Texts(raw []byte) []string {
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return []string{string(raw)}
	}
	return partTexts(textproto.MIMEHeader(m.Header), m.Body, deepest)
}

// partTexts returns the texts of one part and of those inside it.
func partTexts(header textproto.MIMEHeader, body io.Reader, deep int) []string {
	texts := headerTexts(header)
	kind, params, err := mime.ParseMediaType(header.Get("Content-Type"))
	if err == nil && strings.HasPrefix(kind, "multipart/") && deep > 0 {
		parts := multipart.NewReader(body, params["boundary"])
		for {
			part, err := parts.NextRawPart()
			if err != nil {
				return texts // the end, or nothing more to be read
			}
			texts = append(texts, partTexts(part.Header, part, deep-1)...)
		}
	}
	content := decoded(header.Get("Content-Transfer-Encoding"), body)
	if kind == "message/rfc822" && deep > 0 {
		if m, err := mail.ReadMessage(bytes.NewReader(content)); err == nil {
			return append(texts, partTexts(textproto.MIMEHeader(m.Header), m.Body, deep-1)...)
		}
	}
	text := string(content)
	if kind == "text/html" {
		text = html.UnescapeString(text)
	}
	return append(texts, text)
}

func headerTexts(header textproto.MIMEHeader) []string {
	var texts []string
	words := new(mime.WordDecoder)
	for _, values := range header {
		for _, v := range values {
			if text, err := words.DecodeHeader(v); err == nil {
				v = text
			}
			texts = append(texts, v)
		}
	}
	slices.Sort(texts)
	return texts
}

// decoded is a part's content; where its encoding is broken, what came before
// that.
func decoded(encoding string, body io.Reader) []byte {
	switch strings.ToLower(strings.TrimSpace(encoding)) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	content, _ := io.ReadAll(body) // from memory: an error is one of the encoding
	return content
}

// Each gives every mail in the folder to read, with its file.
func (m Maildir) Each(read func(path string, raw []byte) error) error {
	for _, sub := range []string{"tmp", "new", "cur"} {
		files, err := os.ReadDir(filepath.Join(m.Dir, sub))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return fmt.Errorf("maildir: %w", err)
		}
		for _, f := range files {
			if !f.Type().IsRegular() {
				continue
			}
			path := filepath.Join(m.Dir, sub, f.Name())
			raw, err := os.ReadFile(path)
			if errors.Is(err, fs.ErrNotExist) {
				continue // a reader of mail moved it
			}
			if err == nil {
				err = read(path, raw)
			}
			if err != nil {
				return fmt.Errorf("maildir: %w", err)
			}
		}
	}
	return nil
}

// Remove deletes the mails with the Message-IDs and returns how many.
func (m Maildir) Remove(ids map[string]bool) (removed int, err error) {
	err = m.Each(func(path string, raw []byte) error {
		msg, err := mail.ReadMessage(bytes.NewReader(raw))
		if err != nil || !ids[msg.Header.Get("Message-ID")] {
			return nil // not one of ours
		}
		removed++
		return os.Remove(path)
	})
	return removed, err
}
