// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
)

// Preview is a composed message as its reader sees it.
type Preview struct {
	From, To, Subject, Date string
	Text, HTML              string
}

// ReadPreview decodes a message that this package composed.
func ReadPreview(raw []byte) (Preview, error) {
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return Preview{}, fmt.Errorf("preview: %w", err)
	}
	words := new(mime.WordDecoder)
	field := func(name string) string {
		if text, err := words.DecodeHeader(m.Header.Get(name)); err == nil {
			return text
		}
		return m.Header.Get(name)
	}
	p := Preview{From: field("From"), To: field("To"), Subject: field("Subject"), Date: field("Date")}
	_, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil {
		return p, fmt.Errorf("preview: %w", err)
	}
	parts := multipart.NewReader(m.Body, params["boundary"])
	for {
		part, err := parts.NextRawPart()
		if errors.Is(err, io.EOF) {
			return p, nil
		}
		if err != nil {
			return p, fmt.Errorf("preview: %w", err)
		}
		body, err := io.ReadAll(quotedprintable.NewReader(part))
		if err != nil {
			return p, fmt.Errorf("preview: %w", err)
		}
		text := strings.ReplaceAll(string(body), "\r\n", "\n")
		switch kind, _, _ := strings.Cut(part.Header.Get("Content-Type"), ";"); kind {
		case "text/plain":
			p.Text = text
		case "text/html":
			p.HTML = text
		}
	}
}
