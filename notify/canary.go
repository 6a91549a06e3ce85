// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/emersion/go-message"

	"fillmark/loops"
)

// CanaryInput is all that the workshop's letter to itself is written from.
type CanaryInput struct {
	Workshop  Workshop
	To        string    // a return path of the workshop's own
	Day       loops.Day // the workshop's
	Date      time.Time
	MessageID string
	Instead   Earlier // the letter that this one takes the place of
}

// ComposeCanary writes the letter that shows whether mail leaves and comes back.
func ComposeCanary(in CanaryInput) (Letter, error) {
	var p problems
	p.add(requireText("workshop name", in.Workshop.Name, maxName))
	for _, a := range []struct{ field, address string }{{"workshop address", in.Workshop.From}, {"bounce address", in.To}} {
		_, err := asciiAddress(a.field, a.address)
		p.add(err)
	}
	if in.Day.IsZero() {
		p.add(invalid("day", "", "the workshop's day"))
	}
	p.add(checkMessageID(in.MessageID))
	if err := errors.Join(p...); err != nil {
		return Letter{}, err
	}
	d := document{
		Lang:     string(loops.English),
		Subject:  in.Day.Long() + ": does mail arrive?",
		Greeting: "To the program itself,",
		Intro: "This letter was sent through the relay to the mailbox for mail that comes back. " +
			"That it is read there shows that mail leaves and that bounces are seen. Nobody needs to do anything with it.",
		Closing: []string{in.Workshop.Name},
		Reason:  "It is written once a day where mail.bounce_address is set; alarm.canary_hours: 0 in the configuration stops it.",
	}
	return d.letter(envelope{in.Workshop, loops.Owner{Email: in.To, Language: loops.English}, in.Date, in.MessageID, "", in.Instead, nil}, nil)
}

// Arrival is what a mail that arrived says of itself.
type Arrival struct {
	To        []string // where it was delivered to
	MessageID string   // with its angle brackets
}

// ReadArrival reads the header of a mail.
func ReadArrival(r io.Reader) (Arrival, error) {
	entity, err := message.Read(io.LimitReader(r, maxBounce))
	if err != nil && !message.IsUnknownCharset(err) && !message.IsUnknownEncoding(err) {
		return Arrival{}, fmt.Errorf("mail: %w", err)
	}
	return Arrival{sentTo(entity.Header), entity.Header.Get("Message-Id")}, nil
}
