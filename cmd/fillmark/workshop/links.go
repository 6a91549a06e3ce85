// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
)

// LinkPurpose is what a signed link lets its holder do.
type LinkPurpose byte

// The purposes of a link. A link of one purpose opens no other.
const (
	LinkOwner    LinkPurpose = 'o' // see one owner's loops and answer about them
	LinkStop     LinkPurpose = 's' // stop and resume the mail of one owner
	LinkCalendar LinkPurpose = 'c' // read the feed of one owner's days, and nothing else
	LinkLog      LinkPurpose = 'l' // send temperature logs of one owner's machines, and nothing else
)

// ErrLink says that a link is forged, mistyped, of another purpose, ended or
// past its day. It says no more, so that trying teaches nothing.
var ErrLink = errors.New("this link is not valid any more")

// Links signs and opens the links that owners get by mail. The zero value
// refuses every link.
type Links struct {
	secrets [][]byte // the newest first: it signs, all open
}

// secretBytes is how long a secret is.
const secretBytes = 32

// NewLinks returns links signed with the first of the secrets, each 32 random
// bytes; links signed with the others still open.
func NewLinks(secrets []byte) (Links, error) {
	if len(secrets) == 0 || len(secrets)%secretBytes != 0 {
		return Links{}, fmt.Errorf("links: the key file has %d bytes; 32 for each key are right, the newest first", len(secrets))
	}
	return Links{slices.Collect(slices.Chunk(secrets, secretBytes))}, nil
}

const (
	linkVersion = 3
	linkBody    = 1 + 1 + 1 + 8 + 8 + 4 // version, key id, purpose, owner, expiry in Unix seconds, epoch
	linkMAC     = 16                    // bytes of the HMAC-SHA256 that are kept
)

// Sign returns the token of a link of the owner, good until expires or until
// the owner's links are ended.
func (l Links) Sign(p LinkPurpose, owner loops.Owner, expires time.Time) string {
	if len(l.secrets) == 0 {
		return ""
	}
	secret := l.secrets[0]
	body := make([]byte, linkBody, linkBody+linkMAC)
	body[0], body[1], body[2] = linkVersion, keyID(secret), byte(p)
	binary.BigEndian.PutUint64(body[3:], uint64(owner.ID))
	binary.BigEndian.PutUint64(body[11:], uint64(expires.Unix()))
	binary.BigEndian.PutUint32(body[19:], owner.LinkEpoch)
	return base64.RawURLEncoding.EncodeToString(append(body, linkMACOf(secret, p, body)...))
}

// Open checks a token against its purpose and the present instant, and returns
// whose it is and the epoch that it was written in. Any failure is [ErrLink].
func (l Links) Open(p LinkPurpose, token string, now time.Time) (owner loops.OwnerID, epoch uint32, err error) {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) != linkBody+linkMAC {
		return 0, 0, ErrLink
	}
	body, good := raw[:linkBody], false
	for _, secret := range l.secrets {
		if keyID(secret) == body[1] && hmac.Equal(raw[linkBody:], linkMACOf(secret, p, body)) {
			good = true
		}
	}
	if !good || body[0] != linkVersion || body[2] != byte(p) || now.Unix() > int64(binary.BigEndian.Uint64(body[11:])) {
		return 0, 0, ErrLink
	}
	return loops.OwnerID(binary.BigEndian.Uint64(body[3:])), binary.BigEndian.Uint32(body[19:]), nil
}

// linkMACOf authenticates a token under the key of its purpose.
func linkMACOf(secret []byte, p LinkPurpose, body []byte) []byte {
	h := hmac.New(sha256.New, DerivedKey(secret, "link "+string(p)))
	h.Write(body)
	return h.Sum(nil)[:linkMAC]
}

// keyID tells the secrets apart; what it gives away helps nobody.
func keyID(secret []byte) byte { return DerivedKey(secret, "key id")[0] }

// DerivedKey derives the key for one purpose from the workshop's secret (HKDF,
// RFC 5869), so that what one key signs another never accepts.
func DerivedKey(secret []byte, purpose string) []byte {
	key, err := hkdf.Key(sha256.New, secret, nil, "fillmark "+purpose, sha256.Size)
	if err != nil {
		panic(err) // only a length above 255 hashes fails
	}
	return key
}

// linkLife is how long the links of a mail work: past the last reminder of
// its task with room for a holiday.
const linkLife = 120 * 24 * time.Hour

// calendarYears is how long a subscription works: calendar programs never ask
// for a new address, and a machine outlives many mails. A secret that is taken
// out of the key file ends it earlier.
const calendarYears = 10

// CalendarPath is the path of the owner's feed, to subscribe to from the
// instant on. It shows days to whoever has it, and lets nobody answer.
func (w *Workshop) CalendarPath(owner loops.Owner, at time.Time) string {
	return "/o/" + w.links.Sign(LinkCalendar, owner, at.AddDate(calendarYears, 0, 0)) + "/calendar.ics"
}

// ownerLinks are the links of a mail to one owner. The one-click link is left
// out where the pages have no https address, as RFC 8058 wants.
func (w *Workshop) ownerLinks(owner loops.Owner, at time.Time) notify.Links {
	page := w.settings.BaseURL + "/o/" + w.links.Sign(LinkOwner, owner, at.Add(linkLife))
	stop := w.settings.BaseURL + "/stop/" + w.links.Sign(LinkStop, owner, at.Add(10*linkLife))
	links := notify.Links{
		AllFine: page + "?answer=fine", SomethingOff: page + "?answer=off", CallMe: page + "?answer=call", More: page, Stop: stop,
	}
	if strings.HasPrefix(stop, "https://") {
		links.OneClick = stop
	}
	return links
}

// OwnerOf opens a link from a mail and returns the owner it belongs to. One that
// was ended is [ErrLink], and so is one of an owner who is not on record.
func (w *Workshop) OwnerOf(p LinkPurpose, token string, now time.Time) (loops.Owner, error) {
	id, epoch, err := w.links.Open(p, token, now)
	if err != nil {
		return loops.Owner{}, err
	}
	owner, err := w.register.Owner(id)
	if errors.Is(err, loops.ErrNotFound) || err == nil && owner.LinkEpoch != epoch {
		return loops.Owner{}, ErrLink
	}
	return owner, err
}

// EndLinks ends every link that the owner was sent: mails, calendar and all.
func (w *Workshop) EndLinks(s Stamp, id loops.OwnerID) (loops.Owner, error) {
	return retried(w, func() (loops.Owner, error) {
		owner, err := w.register.Owner(id)
		if err != nil {
			return owner, orNotFound("owner", id, err)
		}
		if err := w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "links ended", Owners: []loops.Owner{owner.LinksEnded()}}); err != nil {
			return owner, err
		}
		return w.register.Owner(id)
	})
}
