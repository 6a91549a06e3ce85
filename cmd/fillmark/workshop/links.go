// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
)

// LinkPurpose is what a signed link lets its holder do.
type LinkPurpose byte

// The purposes of a link. A link of one purpose opens no other.
const (
	LinkOwner LinkPurpose = 'o' // see one owner's loops and answer about them
	LinkStop  LinkPurpose = 's' // stop and resume the mail of one owner
)

// ErrLink says that a link is forged, mistyped, of another purpose or past
// its day. It says no more, so that trying teaches nothing.
var ErrLink = errors.New("this link is not valid any more")

// Links signs and opens the links that owners get by mail. The zero value
// refuses every link.
type Links struct {
	key []byte
}

// NewLinks returns links signed with the key, at least 32 random bytes.
func NewLinks(key []byte) (Links, error) {
	if len(key) < 32 {
		return Links{}, fmt.Errorf("links: the key has %d bytes, at least 32 are right", len(key))
	}
	return Links{key: key}, nil
}

const (
	linkVersion = 1
	linkBody    = 1 + 1 + 8 + 8 // version, purpose, subject, expiry in Unix seconds
	linkMAC     = 16            // bytes of the HMAC-SHA256 that are kept
)

// Sign returns the token of a link to the subject: a loop or owner id by
// purpose, good until expires.
func (l Links) Sign(p LinkPurpose, subject uint64, expires time.Time) string {
	body := make([]byte, linkBody, linkBody+linkMAC)
	body[0], body[1] = linkVersion, byte(p)
	binary.BigEndian.PutUint64(body[2:], subject)
	binary.BigEndian.PutUint64(body[10:], uint64(expires.Unix()))
	return base64.RawURLEncoding.EncodeToString(append(body, l.mac(body)...))
}

// Open checks a token against its purpose and the present instant, and
// returns its subject. Any failure is [ErrLink].
func (l Links) Open(p LinkPurpose, token string, now time.Time) (subject uint64, err error) {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) != linkBody+linkMAC || len(l.key) == 0 {
		return 0, ErrLink
	}
	body := raw[:linkBody]
	if !hmac.Equal(raw[linkBody:], l.mac(body)) || body[0] != linkVersion || body[1] != byte(p) {
		return 0, ErrLink
	}
	if now.Unix() > int64(binary.BigEndian.Uint64(body[10:])) {
		return 0, ErrLink
	}
	return binary.BigEndian.Uint64(body[2:]), nil
}

func (l Links) mac(body []byte) []byte {
	h := hmac.New(sha256.New, l.key)
	h.Write(body)
	return h.Sum(nil)[:linkMAC]
}

// linkLife is how long the links of a mail work: past the last reminder of
// its task with room for a holiday.
const linkLife = 120 * 24 * time.Hour

// ownerLinks are the links of a mail to one owner. The one-click link is left
// out where the pages have no https address, as RFC 8058 wants.
func (w *Workshop) ownerLinks(owner loops.OwnerID, at time.Time) notify.Links {
	page := w.settings.BaseURL + "/o/" + w.links.Sign(LinkOwner, uint64(owner), at.Add(linkLife))
	stop := w.settings.BaseURL + "/stop/" + w.links.Sign(LinkStop, uint64(owner), at.Add(10*linkLife))
	links := notify.Links{AllFine: page + "?answer=fine", SomethingOff: page + "?answer=off", Stop: stop}
	if strings.HasPrefix(stop, "https://") {
		links.OneClick = stop
	}
	return links
}

// OwnerOf opens a link from a mail and returns the owner it belongs to.
func (w *Workshop) OwnerOf(p LinkPurpose, token string, now time.Time) (loops.Owner, error) {
	id, err := w.links.Open(p, token, now)
	if err != nil {
		return loops.Owner{}, err
	}
	return w.register.Owner(loops.OwnerID(id))
}
