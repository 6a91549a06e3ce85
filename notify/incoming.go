// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"slices"
	"strings"

	"github.com/emersion/go-message"
	_ "github.com/emersion/go-message/charset" // letters of owners come in any of them
	"golang.org/x/net/html"

	"fillmark/loops"
)

// Incoming is a mail that came to the workshop, as far as an answer of an owner
// needs it. All in it was written by a stranger.
type Incoming struct {
	From    string // a bare address; empty where there is none
	Subject string
	// Answers are the ids of the mails that it says it answers.
	Answers []string
	// Token is that of a reply, not opened yet; empty where there is none.
	Token string
	// Automatic says why no person wrote it; empty where one may have. A request to
	// stop may come from the reader's mail system in their name: Unasked tells that
	// the mail was made by a machine and answers no other.
	Automatic string
	Unasked   bool
	Report    bool // of a mail system (RFC 6522)
	// Unread says why words and photos were not read; empty where they were.
	Unread string
	// Words are the writer's own: without what the ready-made mail said, without
	// what they quoted and without what follows the line that begins a signature.
	Words  string
	Photos []IncomingPhoto
}

// IncomingPhoto is a picture that came with a mail, as it was sent.
type IncomingPhoto struct {
	Name    string
	Content []byte
}

// The bounds of a mail that is read.
const (
	MaxIncoming      = 40 << 20 // bytes of a whole mail: a photo of the largest kind taken, in base64
	maxIncomingParts = 60
	maxIncomingDepth = 6
	maxIncomingText  = 64 << 10
	maxIncomingWords = 1800 // bytes; the record takes 2000
)

// ErrNoMail says that what came is no mail that can be read.
var ErrNoMail = errors.New("this is no mail that can be read")

// ReadIncomingHead reads the header of a mail, for a first look: everything but
// words and photos.
func ReadIncomingHead(r io.Reader) (Incoming, error) {
	entity, err := message.Read(io.LimitReader(r, MaxIncoming))
	if entity == nil || err != nil && !readable(err) {
		return Incoming{}, fmt.Errorf("%w: %w", ErrNoMail, err)
	}
	return incomingHead(entity.Header), nil
}

// ReadIncoming reads a whole mail within its bounds; one beyond them is
// [ErrNoMail].
func ReadIncoming(raw []byte) (Incoming, error) {
	if len(raw) > MaxIncoming {
		return Incoming{}, fmt.Errorf("%w: it has %d bytes, and at most %d are read", ErrNoMail, len(raw), MaxIncoming)
	}
	entity, err := message.Read(bytes.NewReader(raw))
	if entity == nil || err != nil && !readable(err) {
		return Incoming{}, fmt.Errorf("%w: %w", ErrNoMail, err)
	}
	in := incomingHead(entity.Header)
	p := incomingParts{}
	if err := p.read(entity, 0); err != nil {
		return in, err
	}
	text := p.plain
	if strings.TrimSpace(text) == "" {
		text = p.html
	}
	in.Words, in.Photos = ownWords(text), p.photos
	return in, nil
}

// readable tells that a mail can be read although its charset or encoding is none
// that is known: its words then come as they are.
func readable(err error) bool { return message.IsUnknownCharset(err) || message.IsUnknownEncoding(err) }

func incomingHead(h message.Header) Incoming {
	in := Incoming{Subject: headText(h, "Subject")}
	if from, err := mail.ParseAddressList(h.Get("From")); err == nil && len(from) == 1 {
		in.From = from[0].Address
	}
	for _, field := range []string{"In-Reply-To", "References"} {
		for id := range strings.FieldsSeq(h.Get(field)) {
			if len(in.Answers) < 100 && !slices.Contains(in.Answers, id) {
				in.Answers = append(in.Answers, id)
			}
		}
	}
	in.Token = TokenIn(in.Subject)
	in.Automatic, in.Unasked = automatic(h)
	kind, _, _ := h.ContentType()
	in.Report = kind == "multipart/report"
	return in
}

func headText(h message.Header, field string) string {
	text, err := h.Text(field)
	if err != nil {
		text = h.Get(field)
	}
	return oneLine(text)
}

// automatic says why no person wrote a mail (RFC 3834, and what mail systems do
// that are older), and whether a machine made it of its own.
func automatic(h message.Header) (why string, unasked bool) {
	made, _, _ := strings.Cut(strings.ToLower(strings.TrimSpace(h.Get("Auto-Submitted"))), ";")
	kind, _, _ := h.ContentType()
	precedence := strings.ToLower(strings.TrimSpace(h.Get("Precedence")))
	switch {
	case made != "" && made != "no":
		return "it says that it was sent automatically (" + shortened(oneLine(made), 40) + ")", made == "auto-generated"
	case kind == "multipart/report":
		return "it is a report of a mail system", false
	case strings.TrimSpace(h.Get("Return-Path")) == "<>":
		return "it came without a sender's address, as reports do", false
	case slices.Contains([]string{"bulk", "junk", "list", "auto_reply"}, precedence):
		return "it is marked as " + precedence + " mail", false
	case h.Has("List-Id"):
		return "it came over a mailing list", false
	case h.Has("X-Autoreply") || h.Has("X-Autorespond") || h.Has("X-Auto-Response-Suppress"):
		return "it is marked as an automatic answer", false
	}
	return "", false
}

// incomingParts collects what a mail holds.
type incomingParts struct {
	plain, html string
	photos      []IncomingPhoto
	seen        int
}

func (p *incomingParts) read(e *message.Entity, depth int) error {
	if p.seen++; p.seen > maxIncomingParts || depth > maxIncomingDepth {
		return fmt.Errorf("%w: it has more than %d parts, or more than %d in each other", ErrNoMail, maxIncomingParts, maxIncomingDepth)
	}
	if parts := e.MultipartReader(); parts != nil {
		for {
			part, err := parts.NextPart()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if part == nil || err != nil && !readable(err) {
				return fmt.Errorf("%w: %w", ErrNoMail, err)
			}
			if err := p.read(part, depth+1); err != nil {
				return err
			}
		}
	}
	kind, params, _ := e.Header.ContentType()
	disposition, named, _ := e.Header.ContentDisposition()
	name := oneLine(named["filename"])
	if name == "" {
		name = oneLine(params["name"])
	}
	attached := strings.EqualFold(disposition, "attachment")
	switch {
	case isPhoto(kind, name):
		content, err := io.ReadAll(e.Body)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrNoMail, err)
		}
		p.photos = append(p.photos, IncomingPhoto{name, content})
	case attached:
		return nil
	case p.plain == "" && (kind == "text/plain" || kind == "" && depth == 0):
		return readInto(&p.plain, e.Body)
	case p.html == "" && kind == "text/html":
		var raw string
		if err := readInto(&raw, e.Body); err != nil {
			return err
		}
		p.html = htmlText(raw)
	}
	return nil
}

func readInto(text *string, r io.Reader) error {
	content, err := io.ReadAll(io.LimitReader(r, maxIncomingText))
	if err != nil {
		return fmt.Errorf("%w: %w", ErrNoMail, err)
	}
	*text = strings.ToValidUTF8(string(content), "\uFFFD")
	return nil
}

func isPhoto(kind, name string) bool {
	if strings.HasPrefix(kind, "image/") {
		return true
	}
	at := strings.LastIndexByte(name, '.')
	return kind == "application/octet-stream" && at >= 0 && slices.Contains([]string{"jpg", "jpeg", "png", "webp", "heic"}, strings.ToLower(name[at+1:]))
}

// htmlText is what a reader sees of HTML, roughly: words and line ends. What is
// quoted keeps the mark that plain text has.
func htmlText(raw string) string {
	var b strings.Builder
	tokens := html.NewTokenizer(strings.NewReader(raw))
	hidden, quoted := 0, 0
	newLine := func() { b.WriteString("\n" + strings.Repeat(">", quoted)) }
	for {
		switch tokens.Next() {
		case html.ErrorToken:
			return b.String()
		case html.TextToken:
			if hidden == 0 {
				b.WriteString(strings.Join(strings.FieldsFunc(string(tokens.Text()), func(r rune) bool { return r == '\n' || r == '\r' }), " "))
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			switch name, _ := tokens.TagName(); string(name) {
			case "style", "script", "head", "title":
				hidden++
			case "blockquote":
				quoted++
				newLine()
			case "br", "p", "div", "tr", "li", "hr", "h1", "h2", "h3", "table", "ul", "ol":
				newLine()
			}
		case html.EndTagToken:
			switch name, _ := tokens.TagName(); string(name) {
			case "style", "script", "head", "title":
				hidden = max(0, hidden-1)
			case "blockquote":
				quoted = max(0, quoted-1)
				newLine()
			case "p", "div", "tr", "li", "table":
				newLine()
			}
		}
	}
}

// ownWords are what somebody wrote themselves: without quoted lines and the line
// that leads to them, without a signature, and without what our own ready-made
// mails say.
func ownWords(text string) string {
	text = strings.NewReplacer("\r\n", "\n", "\u00a0", " ", "\u202f", " ").Replace(text)
	var kept []string
	for line := range strings.SplitSeq(text, "\n") {
		bare := strings.TrimRight(line, " \t\r")
		if bare == "--" { // RFC 3676, 4.3
			break
		}
		if strings.HasPrefix(strings.TrimLeft(bare, " "), ">") {
			// The line before leads to what is quoted: "On Monday Ana wrote:".
			if n := len(kept) - 1; n >= 0 && strings.HasSuffix(strings.TrimSpace(kept[n]), ":") && !isReady(kept[n]) {
				kept = kept[:n]
			}
			continue
		}
		if bare = loops.Visible(strings.TrimSpace(bare)); bare != "" && !isReady(bare) {
			kept = append(kept, bare)
		}
	}
	words := strings.Join(kept, "\n")
	for _, ready := range readyBodies() { // as some mail programs run it into what was written
		words = strings.TrimSpace(strings.TrimPrefix(words, ready))
	}
	words = strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\n' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, words)
	if len(words) > maxIncomingWords {
		words = strings.ToValidUTF8(words[:maxIncomingWords], "") + "…"
	}
	return words
}

// isReady tells that a line is one of those that our own mails begin with.
func isReady(line string) bool {
	return slices.Contains(readyBodies(), strings.Join(strings.Fields(line), " "))
}
