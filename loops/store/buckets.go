// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"

	"fillmark/loops/store/engine"
)

// The buckets. Those marked
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

// buckets lists every bucket there is, in the order in which they are checked.
func buckets() []string {
	all := []string{bucketMeta}
	for _, t := range tables() {
		_, bucket := t.name()
		all = append(all, bucket)
	}
	return append(all, indexes()...)
}

// indexes lists the buckets whose lines follow from the records.
func indexes() []string {
	return []string{bucketMachinesByOwner, bucketLoopsByMachine, bucketTags, bucketDue, bucketRecent, bucketOutbox, bucketActKeys}
}

// anyTable is a table, whatever its records are.
type anyTable interface {
	name() (kind, bucket string)
	kept() (counted, exported bool)
	importer() func(engine.Writer, []byte) error
	look(c *checker, tx engine.Reader, k, v []byte) error
}

// tables lists all, in the order in which they need each other in an export.
func tables() []anyTable {
	return []anyTable{
		ownerTable(), machineTable(), loopTable(), entryTable(), messageTable(), bodyTable(), sentTable(),
		containerTable(), usedFluidTable(), instrumentTable(), sampleTable(), suppressionTable(), evidenceTable(), watchTable(),
		technicianTable(), signInTable(), tokenTable(), mailReadTable(), auditTable(),
	}
}

// counted lists the buckets whose counters hand out ids.
func counted() []string {
	var all []string
	for _, t := range tables() {
		_, bucket := t.name()
		if counted, _ := t.kept(); counted {
			all = append(all, bucket)
		}
	}
	return all
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
