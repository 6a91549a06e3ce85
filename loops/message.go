// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strconv"
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
	// PurposeWelcome greets the owner that a machine was passed on to.
	PurposeWelcome Purpose = "welcome"
	// PurposeCanary goes to the workshop's own mailbox, see [Canary].
	PurposeCanary Purpose = "canary"
)

// MessageKey makes a message unique: owner, the owner's day and purpose,
// written owner/day/purpose. The Message-ID derives from it and the register's
// own id, so a copy sent twice after a crash is recognisably the same letter.
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

// Next is the key of a letter that takes the place of one whose fate is not
// known: it names that one and tells itself apart, as in 7/2026-04-10/reminder+2.
func (k MessageKey) Next() MessageKey {
	first, count, _ := strings.Cut(string(k), "+")
	n, err := strconv.Atoi(count)
	if err != nil {
		n = 1
	}
	return MessageKey(fmt.Sprintf("%s+%d", first, n+1))
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
	// MessageID is its Message-ID with the angle brackets; empty where an earlier
	// version wrote it.
	MessageID string `json:"message_id,omitempty"`
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
	// Failure is the status of RFC 3463 that LastError came with, such as 5.2.2;
	// empty where there was none.
	Failure string `json:"failure,omitempty"`
	// About is what it speaks of; the register is asked about these before it
	// leaves.
	About []Topic `json:"about,omitempty"`
	// Dated is when it was written, in its present words; zero stands for Created.
	Dated time.Time `json:"dated,omitzero"`
	// Unsure tells that an attempt began whose outcome is not on record: the
	// other side may have it, so its bytes stay as they are.
	Unsure bool `json:"unsure,omitempty"`
	// Claim tells the last attempt that began from all others, whichever daemon's:
	// the number of the write that put it on record. Zero before the first.
	Claim uint64 `json:"claim,omitempty"`
	// Lost counts the attempts whose reply was lost.
	Lost int `json:"lost,omitempty"`
	// Blamed is since when refusals of it are held against the relay; zero where none
	// is.
	Blamed time.Time `json:"blamed,omitzero"`
	// Signature is what stood in front of Raw in that attempt.
	Signature []byte `json:"signature,omitempty"`
	// Instead is the letter, of unknown fate, that this one takes the place of.
	Instead MessageKey `json:"instead,omitempty"`
	// Note says what became of it between writing and sending, and why.
	Note string `json:"note,omitempty"`
}

// Attempt is a message as it is about to leave.
type Attempt struct {
	Message
	Next time.Time // when it would be tried again, by whichever daemon
}

// Arrival is a message that the transport accepted, at the attempt of the claim.
type Arrival struct {
	Key   MessageKey
	Claim uint64
}

// Written is the instant that the letter bears as its date.
func (m Message) Written() time.Time {
	if m.Dated.IsZero() {
		return m.Created
	}
	return m.Dated
}

// Why says why the message stands as it does: the last failure, or what was
// decided about it; empty where there is nothing to say.
func (m Message) Why() string {
	switch {
	case m.Note == "":
		return m.LastError
	case m.LastError == "":
		return m.Note
	}
	return m.LastError + "; " + m.Note
}

// CameBack leads the reason of a message that was refused after it had been taken.
const CameBack = "came back: "

// Taken tells that the relay took the message, whatever became of it then.
func (m Message) Taken() bool {
	return m.Status == Delivered || m.Status == Refused && strings.HasPrefix(m.LastError, CameBack)
}

// cameBack is what is left of the last failure without its words.
func (m Message) cameBack() string {
	if strings.HasPrefix(m.LastError, CameBack) {
		return CameBack
	}
	return ""
}

// Topic is one thing that a message speaks of: a task of a loop due on a day, at
// the stage of its reminders, or an entry of the loop's history.
type Topic struct {
	Loop  LoopID   `json:"loop"`
	Task  TaskKind `json:"task,omitempty"`
	Due   Day      `json:"due,omitzero"`
	Stage Stage    `json:"stage,omitempty"`
	Entry EntryID  `json:"entry,omitempty"`
}

// Marks are what is put on record of the message once it has been settled.
func (m Message) Marks() []Sent {
	var marks []Sent
	for _, t := range m.About {
		if t.Stage != "" {
			marks = append(marks, Sent{Loop: t.Loop, Task: t.Task, Due: t.Due, Stage: t.Stage, Message: m.Key})
		}
	}
	return marks
}

// MessageStatus is how far a message has come.
type MessageStatus string

// The statuses of a message. Only Queued ones are in the outbox.
const (
	Queued    MessageStatus = "queued"
	Held      MessageStatus = "held"      // by a technician, or for lost replies
	Delivered MessageStatus = "delivered" // accepted by the transport
	Refused   MessageStatus = "refused"   // for good
	Expired   MessageStatus = "expired"   // pointless before it could go
	Dropped   MessageStatus = "dropped"   // by a technician
	Withdrawn MessageStatus = "withdrawn" // untrue, or not allowed, before it could go
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

// MessageStatuses lists the statuses.
func MessageStatuses() []MessageStatus {
	return []MessageStatus{Queued, Held, Delivered, Refused, Expired, Dropped, Withdrawn}
}

// Settled tells whether all is over for the message and the stages it speaks of
// have had their letter. One that waits has not, and one that was withdrawn
// never will.
func (s MessageStatus) Settled() bool { return s != Queued && s != Withdrawn }

// Failure is how an attempt to hand a message over failed.
type Failure struct {
	Reason string
	Status string // of RFC 3463; empty where there was none
	// Unsure tells that the other side may have the message all the same.
	Unsure bool
	// Lost tells that this attempt's reply was.
	Lost bool
	// Blamed is since when refusals of the message are held against the relay; zero
	// changes nothing about that.
	Blamed time.Time
}

// Sent marks that an owner was written to about a task due on a day at a stage,
// whether or not the letter arrived: its message tells. It is written when that
// is settled. Loop, task, due day and stage together are unique; a later owner's
// letter takes the place of a former one's.
type Sent struct {
	Loop    LoopID     `json:"loop"`
	Task    TaskKind   `json:"task"`
	Due     Day        `json:"due"`
	Stage   Stage      `json:"stage"`
	Message MessageKey `json:"message,omitempty"`
}
