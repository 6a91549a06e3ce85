// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package links signs the links that owners get by mail and opens them again: a
// token says whose it is, what it lets its holder do and until when, and is
// authenticated with the workshop's secret (HMAC, RFC 2104).
package links

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
)

// Purpose is what a signed link lets its holder do.
type Purpose byte

// The purposes of a link. A link of one purpose opens no other.
const (
	Owner    Purpose = 'o' // see one owner's loops and answer about them
	Stop     Purpose = 's' // stop and resume the mail of one owner
	Calendar Purpose = 'c' // read the feed of one owner's days, and nothing else
	Log      Purpose = 'l' // send temperature logs of one owner's machines, and nothing else
)

// ErrInvalid says that a link is forged, mistyped, of another purpose, ended or
// past its day. It says no more, so that trying teaches nothing.
var ErrInvalid = errors.New("this link is not valid any more")

// Keys sign and open the links that owners get by mail. The zero value refuses
// every link.
type Keys struct {
	secrets [][]byte // the newest first: it signs, all open
}

// secretBytes is how long a secret is.
const secretBytes = 32

// New returns keys that sign with the first of the secrets, each 32 random
// bytes; what the others signed still opens.
func New(secrets []byte) (Keys, error) {
	if len(secrets) == 0 || len(secrets)%secretBytes != 0 {
		return Keys{}, fmt.Errorf("links: the key file has %d bytes; 32 for each key are right, the newest first", len(secrets))
	}
	return Keys{slices.Collect(slices.Chunk(secrets, secretBytes))}, nil
}

const (
	linkVersion = 3
	linkBody    = 1 + 1 + 1 + 8 + 8 + 4 // version, key id, purpose, owner, expiry in Unix seconds, epoch
	linkMAC     = 16                    // bytes of the HMAC-SHA256 that are kept
)

// Sign returns the token of a link of the owner, good until expires or until
// the owner's links are ended.
func (l Keys) Sign(p Purpose, owner loops.Owner, expires time.Time) string {
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
// whose it is and the epoch that it was written in. Any failure is [ErrInvalid].
func (l Keys) Open(p Purpose, token string, now time.Time) (owner loops.OwnerID, epoch uint32, err error) {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) != linkBody+linkMAC {
		return 0, 0, ErrInvalid
	}
	body, good := raw[:linkBody], false
	for _, secret := range l.secrets {
		if keyID(secret) == body[1] && hmac.Equal(raw[linkBody:], linkMACOf(secret, p, body)) {
			good = true
		}
	}
	if !good || body[0] != linkVersion || body[2] != byte(p) || now.Unix() > int64(binary.BigEndian.Uint64(body[11:])) {
		return 0, 0, ErrInvalid
	}
	return loops.OwnerID(binary.BigEndian.Uint64(body[3:])), binary.BigEndian.Uint32(body[19:]), nil
}

// linkMACOf authenticates a token under the key of its purpose.
func linkMACOf(secret []byte, p Purpose, body []byte) []byte {
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
