// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"

	"fillmark/loops/store/engine"
)

// The buckets, in the order they are checked and exported. Those marked
// "index" have empty values and can be rebuilt from the others.
const (
	bucketMeta            = "meta"              // "schema", "uptime", "alarms", "canary", "backups", "lead", "register id", "same " and of what, "mailbox " and its name
	bucketOwners          = "owners"            // owner
	bucketMachines        = "machines"          // machine
	bucketMachinesByOwner = "machines by owner" // index: owner, machine
	bucketLoops           = "loops"             // loop
	bucketLoopsByMachine  = "loops by machine"  // index: machine, loop
	bucketTags            = "tags"              // index: tag, loop
	bucketHistory         = "history"           // loop, entry
	bucketDue             = "due"               // index: day, loop, task
	bucketMessages        = "messages"          // message key
	bucketBodies          = "bodies"            // message key
	bucketRecent          = "recent"            // index: instant created, message key
	bucketOutbox          = "outbox"            // index: instant of next attempt, message key
	bucketSent            = "sent"              // loop, day, task, stage
	bucketAudit           = "audit"             // line number
	bucketSuppressed      = "suppressed"        // address
	bucketContainers      = "containers"        // container
	bucketUsedFluid       = "used fluid"        // line number
	bucketInstruments     = "instruments"       // instrument
	bucketSamples         = "samples"           // sample
	bucketTechnicians     = "technicians"       // sign-in name
	bucketSignIns         = "sign-ins"          // hash of the session
	bucketTokens          = "tokens"            // hash of the token
	bucketEvidence        = "evidence"          // version
	bucketWatches         = "watches"           // watch
	bucketActKeys         = "act keys"          // index: key of an act, loop, entry
	bucketMailRead        = "mail read"         // digest of a mail
)

// buckets lists every bucket there is.
func buckets() []string {
	return []string{
		bucketMeta, bucketOwners, bucketMachines, bucketMachinesByOwner, bucketLoops,
		bucketLoopsByMachine, bucketTags, bucketHistory, bucketDue, bucketMessages,
		bucketBodies, bucketRecent, bucketOutbox, bucketSent, bucketAudit,
		bucketSuppressed, bucketContainers, bucketUsedFluid, bucketInstruments,
		bucketSamples, bucketTechnicians, bucketSignIns, bucketTokens,
		bucketEvidence, bucketWatches, bucketActKeys, bucketMailRead,
	}
}

// initialise makes all buckets that are missing and notes the schema version.
func initialise(tx engine.Writer, schema int) error {
	if err := makeBuckets(tx); err != nil {
		return err
	}
	if err := putSchema(tx, schema); err != nil {
		return err
	}
	return putID(tx)
}

func makeBuckets(tx engine.Writer) error {
	for _, name := range buckets() {
		if err := tx.MakeBucket(name); err != nil {
			return fmt.Errorf("bucket %s: %w", name, err)
		}
	}
	return nil
}
