// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"net/http"

	"github.com/klauspost/compress/gzhttp"
)

// compressedTypes lists the media types that are worth compressing. Photos and
// drawings of pixels are compressed already; tables and exports are streams
// that commands read on this computer.
func compressedTypes() []string {
	return []string{"text/html", "text/css", "text/javascript", "application/json", "image/svg+xml"}
}

// lengthJitter is up to how many bytes an answer is lengthened by, so that its
// compressed length does not tell whether what somebody slipped into a page
// repeats a secret in it (the attack known as BREACH, CVE-2013-3587).
const lengthJitter = 64

// compressor compresses answers for those who accept gzip.
func compressor() (func(http.Handler) http.HandlerFunc, error) {
	wrap, err := gzhttp.NewWrapper(
		gzhttp.ContentTypes(compressedTypes()), gzhttp.EnableZstd(false), gzhttp.RandomJitter(lengthJitter, 0, false),
	)
	if err != nil {
		return nil, fmt.Errorf("web: compression: %w", err)
	}
	return wrap, nil
}
