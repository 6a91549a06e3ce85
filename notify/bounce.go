// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bufio"
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"net/textproto"
	"slices"
	"strings"
	"unicode"

	"github.com/emersion/go-message"

	"fillmark/loops"
)

// ReturnPath makes the envelope address of each message, so that mail which
// comes back tells which message it is about. The address carries a MAC: nobody
// else can make one, so nobody else can have an owner's address given up.
type ReturnPath struct {
	local, domain string
	key           []byte
}

const returnPathBytes = 10 // of hash and of MAC: 16 letters each

// base32 in lower case: some relays fold the case of an address.
func letters(b []byte) string {
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b))
}

// NewReturnPath makes return paths below the address: bounce@w.example gives
// bounce+TOKEN@w.example. The key is at least 32 secret bytes.
func NewReturnPath(address string, key []byte) (*ReturnPath, error) {
	ascii, err := asciiAddress("bounce address", address)
	if err != nil {
		return nil, err
	}
	local, domain, _ := strings.Cut(ascii, "@")
	const most = 64 - 1 - 32 // RFC 5321 4.5.3.1.1, less + and token
	if len(local) > most || strings.Contains(local, "+") {
		return nil, invalid("bounce address", address, fmt.Sprintf("at most %d letters before the @ and no +", most))
	}
	if len(key) < sha256.Size {
		return nil, invalid("bounce key", fmt.Sprintf("%d bytes", len(key)), "at least 32 bytes")
	}
	return &ReturnPath{local, domain, key}, nil
}

// MessageHash names a message in its return path.
func MessageHash(key loops.MessageKey) string {
	sum := sha256.Sum256([]byte("return path\x00" + string(key)))
	return letters(sum[:returnPathBytes])
}

// For returns the envelope address of the message.
func (r *ReturnPath) For(key loops.MessageKey) string {
	hash := MessageHash(key)
	return r.local + "+" + hash + r.mac(hash) + "@" + r.domain
}

// Open returns the hash of the message that the address was made for, or false
// where it was not made here.
func (r *ReturnPath) Open(address string) (hash string, ok bool) {
	address = strings.ToLower(address)
	token, found := strings.CutPrefix(address, strings.ToLower(r.local)+"+")
	token, ends := strings.CutSuffix(token, "@"+strings.ToLower(r.domain))
	if !found || !ends || len(token) != 32 {
		return "", false
	}
	hash = token[:16]
	return hash, hmac.Equal([]byte(token[16:]), []byte(r.mac(hash)))
}

func (r *ReturnPath) mac(hash string) string {
	h := hmac.New(sha256.New, r.key)
	h.Write([]byte(hash))
	return letters(h.Sum(nil)[:returnPathBytes])
}

// Bounce is what a report of failed delivery (RFC 3464) says.
type Bounce struct {
	// To are the addresses the report was sent to, one of them a return path.
	To         []string
	Recipients []BounceRecipient
}

// BounceRecipient is what the report says of one recipient.
type BounceRecipient struct {
	Action     string // failed, delayed, delivered, relayed or expanded
	Status     string // RFC 3463, such as 5.1.1
	Diagnostic string // what the other side said, one line
}

// ErrNotBounce says that a mail is no report of failed delivery: nothing is
// concluded from it, be it written by a person or by a machine.
var ErrNotBounce = errors.New("the mail is no report of failed delivery (RFC 3464)")

const maxBounce = 1 << 20

// ReadBounce reads a report of failed delivery. All else, an automatic reply
// among it, is [ErrNotBounce].
func ReadBounce(r io.Reader) (Bounce, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxBounce))
	if err != nil {
		return Bounce{}, fmt.Errorf("bounce: %w", err)
	}
	entity, err := message.Read(bytes.NewReader(raw))
	if err != nil && !message.IsUnknownCharset(err) {
		return Bounce{}, fmt.Errorf("%w: %w", ErrNotBounce, err)
	}
	kind, params, err := entity.Header.ContentType()
	parts := entity.MultipartReader()
	if err != nil || kind != "multipart/report" || !strings.EqualFold(params["report-type"], "delivery-status") || parts == nil {
		return Bounce{}, ErrNotBounce
	}
	b := Bounce{To: sentTo(entity.Header)}
	for {
		part, err := parts.NextPart()
		if err != nil && !message.IsUnknownCharset(err) {
			break // the end, or a report cut short: what was read counts
		}
		if kind, _, _ := part.Header.ContentType(); kind == "message/delivery-status" {
			b.Recipients = append(b.Recipients, readStatus(part.Body)...)
		}
	}
	if len(b.Recipients) == 0 {
		return Bounce{}, ErrNotBounce
	}
	return b, nil
}

// sentTo collects the addresses a mail was delivered to: which field holds the
// envelope's depends on who delivered it.
func sentTo(h message.Header) []string {
	var to []string
	for _, field := range []string{"Delivered-To", "X-Original-To", "Envelope-To", "To"} {
		for fields := h.FieldsByKey(field); fields.Next(); {
			list, err := mail.ParseAddressList(fields.Value())
			if err != nil {
				continue
			}
			for _, a := range list {
				if !slices.Contains(to, a.Address) {
					to = append(to, a.Address)
				}
			}
		}
	}
	return to
}

// readStatus reads the groups of a delivery-status part; the first is about the
// message as a whole and has no Action.
func readStatus(r io.Reader) []BounceRecipient {
	var found []BounceRecipient
	text := textproto.NewReader(bufio.NewReader(r))
	for range 1000 {
		group, err := text.ReadMIMEHeader()
		if action := strings.ToLower(strings.TrimSpace(group.Get("Action"))); action != "" {
			status, _, _ := strings.Cut(strings.TrimSpace(group.Get("Status")), " ")
			found = append(found, BounceRecipient{action, status, oneLine(group.Get("Diagnostic-Code"))})
		}
		if err != nil {
			return found
		}
	}
	return found
}

// oneLine makes foreign text fit to be shown and stored.
func oneLine(text string) string {
	printable := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	return shortened(strings.Join(strings.Fields(printable), " "), 300)
}

// Failed returns what is said of a recipient that the message will never reach: a
// relay that tried for days gives up with a status of 4 (RFC 3464 2.3.3).
func (b Bounce) Failed() (BounceRecipient, bool) {
	for _, r := range b.Recipients {
		if r.Action == "failed" && (strings.HasPrefix(r.Status, "5.") || strings.HasPrefix(r.Status, "4.")) {
			return r, true
		}
	}
	return BounceRecipient{}, false
}

// refusalsAllowed is how many permanent failures in a row an address gets where
// none of them says that it does not exist.
const refusalsAllowed = 3

// AtOnce tells whether a status says that the address does not exist or takes
// no mail for good (RFC 3463 3.2 and 3.3), so that one failure is enough.
func AtOnce(status string) bool {
	return slices.Contains([]string{"5.1.1", "5.1.2", "5.1.3", "5.1.6", "5.2.1"}, status)
}

// Suppresses tells whether nothing more is to be sent to an address after a
// permanent failure with the status, the last of so many in a row. 5.7.x is
// about what we may, never about the address.
func Suppresses(status string, inARow int) bool {
	return AtOnce(status) || inARow >= refusalsAllowed && !strings.HasPrefix(status, "5.7.")
}
