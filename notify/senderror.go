// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"

	"github.com/emersion/go-smtp"

	"fillmark/loops"
)

// Envelope is who a transport is told the message is from and for: bare
// addresses in ASCII.
type Envelope struct {
	From, To string
}

// SendError is a message that did not go out.
type SendError struct {
	// Temporary failures are tried again. A failure that nobody classified is
	// one, such as a reply that was lost.
	Temporary bool
	// RelayFault says that the transport failed, not the message: everything is
	// held and no address is blamed. Such a failure is Temporary.
	RelayFault bool
	Code       int // reply code of SMTP; zero where there was none
	// Status is the enhanced code of RFC 3463, such as "5.1.1"; empty where
	// there was none.
	Status string
	// Address says that a permanent failure is about the address itself.
	Address bool
	// Unsure says that the reply was lost after the message had been begun: the
	// other side may have it.
	Unsure bool
	Err    error
}

// Error says at which step it failed and how.
func (e *SendError) Error() string { return e.Err.Error() }

// Unwrap returns the cause.
func (e *SendError) Unwrap() error { return e.Err }

// failure is what is put on record of it.
func (e *SendError) failure() loops.Failure {
	return loops.Failure{Reason: shortened(oneLine(e.Error()), 500), Status: e.Status, Unsure: e.Unsure, Lost: e.Unsure}
}

// stage is how far a conversation came.
type stage string

const (
	stageSession stage = "session" // up to the login
	stageMail    stage = "MAIL"
	stageRcpt    stage = "RCPT"
	stageData    stage = "DATA"
)

// classify tells from stage and reply what failed: the relay, this message for
// now, or this message for good.
func classify(at stage, err error) *SendError {
	e := &SendError{Temporary: true, Err: fmt.Errorf("smtp %s: %w", at, err)}
	var reply *smtp.SMTPError
	if !errors.As(err, &reply) {
		// A line cut before the recipient was named has nothing to do with the
		// message; later it may, and must not hold all the others.
		e.RelayFault = at == stageSession || at == stageMail
		e.Unsure = at == stageData
		return e
	}
	e.Code = reply.Code
	if reply.EnhancedCode[0] > 0 {
		e.Status = fmt.Sprintf("%d.%d.%d", reply.EnhancedCode[0], reply.EnhancedCode[1], reply.EnhancedCode[2])
	}
	switch {
	case at == stageSession, reply.Code == 421, reply.Code == 530, reply.Code == 535, reply.Code == 538:
		// Greeting, TLS or login; the relay is closing or wants a login.
		e.RelayFault = true
	case at == stageMail && reply.Code != 552:
		// The relay refuses our own address, and would for every message.
		e.RelayFault = true
	case reply.Code < 500:
	case at == stageRcpt && reply.Code == 552:
		// RFC 5321 4.5.3.1.10: to be treated as temporary.
	case at == stageRcpt && reply.EnhancedCode[1] == 7:
		// 5.7.x is about what we may, not about the address: it must not mark
		// an owner unreachable, and passes when the relay's rules are put right.
	default:
		e.Temporary = false
		e.Address = at == stageRcpt || AtOnce(e.Status)
	}
	return e
}
