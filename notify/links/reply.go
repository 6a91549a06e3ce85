// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package links

import (
	"crypto/hmac"
	"encoding/base32"
	"encoding/binary"
	"strings"
	"time"

	"fillmark/loops"
)

// Saying is what an owner says by mailing a reply back.
type Saying byte

// The sayings, as they stand in a token.
const (
	SaysFine  Saying = 'f' // looked, and all is fine
	SaysOff   Saying = 'o' // something is off
	SaysCall  Saying = 'c' // call me
	SaysPause Saying = 'p' // no reminders about what is due now
	SaysStop  Saying = 's' // no mail at all
	SaysLater Saying = 'w' // no reminders for two weeks
	SaysMoved Saying = 'm' // moved
	SaysSold  Saying = 'g' // sold, or given away
	SaysDone  Saying = 'e' // it was done elsewhere
)

// Reply is what the token in the subject of an owner's mail is bound to.
type Reply struct {
	Owner loops.OwnerID
	Epoch uint32       // of the owner's links
	Loop  loops.LoopID // zero for all of theirs
	Says  Saying
}

const (
	replyVersion = 1
	replyMAC     = 10 // bytes of the HMAC-SHA256 that are kept: a token is typed into no page, each try is a mail
	replyPurpose = Purpose('r')
	dayLength    = 24 * time.Hour
)

// SignReply returns the token of a reply, good until the end of the day, in UTC,
// on which it expires or until the owner's links are ended. It is of lower-case
// letters and digits only, so that no mail program breaks or folds it.
func (l Keys) SignReply(r Reply, expires time.Time) string {
	if len(l.secrets) == 0 {
		return ""
	}
	secret := l.secrets[0]
	body := []byte{replyVersion, keyID(secret), byte(r.Says)}
	for _, n := range []uint64{uint64(r.Owner), uint64(r.Epoch), uint64(r.Loop), uint64(expires.Unix() / int64(dayLength/time.Second))} {
		body = binary.AppendUvarint(body, n)
	}
	return strings.ToLower(replyLetters.EncodeToString(append(body, linkMACOf(secret, replyPurpose, body)[:replyMAC]...)))
}

// OpenReply checks a token as it came back, in letters of either case. Any
// failure is [ErrInvalid]; one that only its day ends also tells what it was
// bound to.
func (l Keys) OpenReply(token string, now time.Time) (Reply, error) {
	raw, err := replyLetters.DecodeString(strings.ToUpper(token))
	if err != nil || len(raw) < 3+replyMAC || !strings.EqualFold(replyLetters.EncodeToString(raw), token) {
		return Reply{}, ErrInvalid
	}
	body, mac := raw[:len(raw)-replyMAC], raw[len(raw)-replyMAC:]
	good := false
	for _, secret := range l.secrets {
		if keyID(secret) == body[1] && hmac.Equal(mac, linkMACOf(secret, replyPurpose, body)[:replyMAC]) {
			good = true
		}
	}
	if !good || body[0] != replyVersion {
		return Reply{}, ErrInvalid
	}
	var n [4]uint64
	rest := body[3:]
	for i := range n {
		var read int
		if n[i], read = binary.Uvarint(rest); read <= 0 {
			return Reply{}, ErrInvalid
		}
		rest = rest[read:]
	}
	r := Reply{Owner: loops.OwnerID(n[0]), Epoch: uint32(n[1]), Loop: loops.LoopID(n[2]), Says: Saying(body[2])}
	if now.Unix()/int64(dayLength/time.Second) > int64(n[3]) {
		return r, ErrInvalid
	}
	return r, nil
}

var replyLetters = base32.StdEncoding.WithPadding(base32.NoPadding)
