// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"io"
	"log/slog"
	"regexp"
)

// NewLog returns the log of a running daemon. What it writes holds no mail
// address and no token of a link, whoever quotes one: an error about an owner's
// record, or a relay in its reply.
func NewLog(w io.Writer, level slog.Leveler) *slog.Logger {
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: level, ReplaceAttr: withoutSecrets}))
}

var (
	mailAddress = regexp.MustCompile(`[^\s<>"',;:()]+@[^\s<>"',;:()]+`)
	linkToken   = regexp.MustCompile(`/(o|stop|password|log|start)/[\w-]{12,}`) // /var/log/PROGRAM stays
)

func withoutSecrets(_ []string, a slog.Attr) slog.Attr {
	var text string
	switch v := a.Value.Any().(type) {
	case string:
		text = v
	case error:
		text = v.Error()
	default:
		return a
	}
	return slog.String(a.Key, hideSecrets(text))
}

// hideSecrets takes mail addresses and tokens of links out of a text.
func hideSecrets(text string) string {
	text = mailAddress.ReplaceAllString(text, "(address)")
	return linkToken.ReplaceAllString(text, "/$1/(token)")
}
