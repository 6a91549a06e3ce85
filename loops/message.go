// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"
	"time"
)

// Purpose is why a message goes out.
type Purpose string

// The purposes of a message.
const (
	PurposeReminder Purpose = "reminder"
	PurposeHandover Purpose = "hand-over"
	PurposeReceipt  Purpose = "receipt"
	PurposeMorning  Purpose = "morning list"
)

// MessageKey makes a message unique: owner, the owner's day and purpose,
// written owner/day/purpose. The Message-ID derives from it, so a copy sent
// twice after a crash is recognisably the same letter.
type MessageKey string

// NewMessageKey builds the key. Distinguish is empty for a message that an
// owner gets once a day, else what tells such messages of one day apart.
func NewMessageKey(owner OwnerID, day Day, purpose Purpose, distinguish string) MessageKey {
	key := fmt.Sprintf("%d/%s/%s", owner, day, purpose)
	if distinguish != "" {
		key += "/" + distinguish
	}
	return MessageKey(strings.ReplaceAll(key, " ", "-"))
}

// Message is one mail to one owner: its bytes as composed, unsigned, and how
// far its delivery has come.
type Message struct {
	Key     MessageKey `json:"key"`
	Owner   OwnerID    `json:"owner"`
	Purpose Purpose    `json:"purpose"`
	From    string     `json:"from"` // bare address
	To      string     `json:"to"`   // bare address
	Subject string     `json:"subject"`
	// Raw is the whole message with CRLF line ends, before signing.
	Raw     []byte    `json:"raw"`
	Created time.Time `json:"created"`
	// PointlessAfter is when delivering it would no longer help.
	PointlessAfter time.Time     `json:"pointless_after"`
	Status         MessageStatus `json:"status"`
	Attempts       int           `json:"attempts,omitempty"`
	LastAttempt    time.Time     `json:"last_attempt,omitzero"`
	// NextAttempt is when the deliverer tries (again); meaningful while queued.
	NextAttempt time.Time `json:"next_attempt,omitzero"`
	LastError   string    `json:"last_error,omitempty"`
}

// MessageStatus is how far a message has come.
type MessageStatus string

// The statuses of a message. Only Queued ones are in the outbox.
const (
	Queued    MessageStatus = "queued"
	Held      MessageStatus = "held"      // by a technician
	Delivered MessageStatus = "delivered" // accepted by the transport
	Refused   MessageStatus = "refused"   // for good
	Expired   MessageStatus = "expired"   // pointless before it could go
	Dropped   MessageStatus = "dropped"   // by a technician
)

// Stage is how far the reminders about one task have come.
type Stage string

// The stages, in order. At StageCall no more mail goes out: the technician
// calls the owner.
const (
	StageAhead Stage = "ahead"
	StageDue   Stage = "due"
	StageLate  Stage = "late"
	StageLast  Stage = "last"
	StageCall  Stage = "call"
)

// Sent marks that an owner was reminded of a task due on a day at a stage.
// Loop, task, due day and stage together are unique.
type Sent struct {
	Loop    LoopID     `json:"loop"`
	Task    TaskKind   `json:"task"`
	Due     Day        `json:"due"`
	Stage   Stage      `json:"stage"`
	Message MessageKey `json:"message"`
}
