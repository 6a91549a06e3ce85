// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package notify writes to owners and gets the letters out. Its four steps know
// nothing of each other: compose makes a [Letter] from plain data and is pure
// ([ComposeReminder], [ComposeHandover], [ComposeReceipt], [ComposeMorning],
// [ComposePrinted]); sign turns bytes into bytes
// ([Signer.Sign]); send is one conversation of a transport ([Maildir.Send],
// [Relay.Send]); deliver walks the outbox by a [RetryPlan] ([Deliverer.Deliver]).
//
// It speaks °C and °F as the owner prefers, days as [loops.Day] and instants in
// UTC. Who is due is decided elsewhere. Composing is deterministic: date,
// Message-ID and day come in as arguments, the boundary derives from the
// Message-ID.
//
// What comes back is read by [ReadBounce] and traced by [ReturnPath].
//
// Everything here may be used by several goroutines at once; a [Deliverer] runs
// one delivery at a time, a [Relay] sends one message at a time. Impossible input is a
// [loops.InvalidError]; what a transport refuses is a [SendError].
package notify
