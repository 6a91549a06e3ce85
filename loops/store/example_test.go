// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"fillmark/loops"
	"fillmark/loops/store"
)

// One action is one change: either all of it is on the disk when Commit
// returns, or nothing.
func Example() {
	folder, err := os.MkdirTemp("", "example")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(folder)
	s, err := store.Open(filepath.Join(folder, "workshop.fillmark"), store.Options{})
	if err != nil {
		log.Fatal(err)
	}
	defer s.Close()

	id, err := s.NewOwnerID()
	if err != nil {
		log.Fatal(err)
	}
	change := loops.Change{
		At: time.Date(2026, time.December, 3, 10, 0, 0, 0, time.UTC), By: "local:rui", Action: "owner add",
		Owners: []loops.Owner{{ID: id, Name: "Ana Fern"}},
	}
	fmt.Println("first:", s.Commit(change))
	fmt.Println("again:", s.Commit(change))

	for line, err := range s.Audit() {
		fmt.Println(line.At.Format(time.DateOnly), line.By, line.Action, line.On, err)
	}
	report, err := s.Check(context.Background())
	fmt.Println("sound:", report.OK(), err)

	// Output:
	// first: <nil>
	// again: store: owner 1: read at revision 0, now 1: the record changed since it was read
	// 2026-12-03 local:rui owner add owner 1 <nil>
	// sound: true <nil>
}

// Two technicians read the same record; the second to write reads again.
func ExampleStore_Commit_conflict() {
	folder, err := os.MkdirTemp("", "example")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(folder)
	s, err := store.Open(filepath.Join(folder, "workshop.fillmark"), store.Options{})
	if err != nil {
		log.Fatal(err)
	}
	defer s.Close()
	write := func(owner loops.Owner, by string) error {
		return s.Commit(loops.Change{At: time.Date(2026, time.December, 3, 9, 0, 0, 0, time.UTC), By: by, Action: "owner edit", Owners: []loops.Owner{owner}})
	}
	if err := write(loops.Owner{ID: 1, Name: "Ana Fern"}, "rui"); err != nil {
		log.Fatal(err)
	}

	seen, err := s.Owner(1)
	if err != nil {
		log.Fatal(err)
	}
	seen.Phone = "5550 100"
	fmt.Println(write(seen, "rui"))
	seen.Phone = "5550 200"
	fmt.Println(write(seen, "eva"))
	// Output:
	// <nil>
	// store: owner 1: read at revision 1, now 2: the record changed since it was read
}
