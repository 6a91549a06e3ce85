// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"crypto/rand"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// TestCampaignLoadRegister makes the register that doc/bench/load.sh measures
// the pages with: LOAD_LOOPS loops in the folder LOAD_DIR, as of the day LOAD_DAY. One is registered
// as a technician would; the others are its copies, with owners and tags of
// their own and due days spread over a year, a week of it behind. Without
// LOAD_DIR it makes a small one and looks at it.
func TestCampaignLoadRegister(t *testing.T) {
	dir, count, now := os.Getenv("LOAD_DIR"), 200, testNow()
	if dir == "" {
		dir = t.TempDir()
	} else {
		var err error
		count, err = strconv.Atoi(os.Getenv("LOAD_LOOPS"))
		require.NoError(t, err, "LOAD_LOOPS is a number of loops")
		now, err = time.Parse(time.DateOnly, os.Getenv("LOAD_DAY"))
		require.NoError(t, err, "LOAD_DAY is a day, such as 2026-11-28")
	}
	c := DefaultConfig(map[string]string{"HOME": dir})
	c.Store = filepath.Join(dir, "register.db")
	h, err := Open(c, func() time.Time { return now }, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	first := firstLoad(t, h, now)
	tags := map[loops.Tag]bool{first.Loop.Tag: true}
	for done := 1; done < count; {
		n := min(1000, count-done)
		require.NoError(t, h.Store.Commit(copies(t, first, now, done, n, tags)))
		done += n
	}
	made := 0
	for _, err := range h.Store.Loops() {
		require.NoError(t, err)
		made++
	}
	require.Equal(t, count, made)
	list, err := h.Workshop.Due(now)
	require.NoError(t, err)
	require.NotEmpty(t, list.Overdue)
	t.Logf("%d loops, %d tasks overdue", made, len(list.Overdue))
}

// firstLoad registers one machine as a technician would.
func firstLoad(t *testing.T, h *Service, now time.Time) workshop.File {
	t.Helper()
	s := workshop.Stamp{At: now.AddDate(0, 0, -30), By: "local:load"}
	day := loops.DayOf(s.At, time.UTC).AddDays(-1)
	owner, err := h.Workshop.AddOwner(s, loops.Owner{Name: "Owner 0", Phone: "+351 210 000 000"})
	require.NoError(t, err)
	machine, err := h.Workshop.AddMachine(s, loops.Machine{Owner: owner.ID, Kind: loops.Workstation, Name: "machine 0"})
	require.NoError(t, err)
	loop, err := h.Workshop.AddLoop(s, loops.Loop{Machine: machine.ID, Construction: loops.Construction{
		Volume: 0.6, VolumeUncertainty: 0.02, ColdestWall: new(chemistry.Celsius(-10)),
		Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper}, {Part: "radiator", Metal: chemistry.Brass}},
	}})
	require.NoError(t, err)
	charge := loops.Charge{Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), MassUncertainty: 0.01, Volume: 0.6,
		Origin: loops.WorkshopFill, FilledFrom: day, FilledTo: day}
	charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}}
	fill := &acts.Fill{Charge: charge}
	fill.Day = day
	_, err = h.Workshop.Act(s, loop.Tag, fill, &acts.LeakCheck{Hours: loops.LeakCheckHours, Dry: true},
		&acts.Handover{Mail: new(false), Unproved: "no load to measure at"})
	require.NoError(t, err)
	file, err := h.Workshop.File(loop.Tag)
	require.NoError(t, err)
	require.NotEmpty(t, file.Loop.Plan.Tasks)
	return file
}

// copies are n loops like the first, each with an owner and a tag of its own.
func copies(t *testing.T, first workshop.File, now time.Time, from, n int, tags map[loops.Tag]bool) loops.Change {
	t.Helper()
	today := loops.DayOf(now, time.UTC)
	earliest := slices.MinFunc(first.Loop.Plan.Tasks, func(a, b loops.Task) int { return a.Due.Sub(b.Due) }).Due
	change := loops.Change{At: now, By: "local:load", Action: "load"}
	for i := from; i < from+n; i++ {
		owner, machine, loop := first.Owner, first.Machine, first.Loop
		owner.ID, owner.Revision, owner.Name = loops.OwnerID(i+1), 0, fmt.Sprintf("Owner %d", i)
		machine.ID, machine.Revision, machine.Owner, machine.Name = loops.MachineID(i+1), 0, owner.ID, fmt.Sprintf("machine %d", i)
		tag := freshTag(t, tags)
		loop.ID, loop.Revision, loop.Machine, loop.Tag = loops.LoopID(i+1), 0, machine.ID, tag
		shift := today.AddDays(i%365 - 7).Sub(earliest)
		loop.Plan.Tasks = slices.Clone(loop.Plan.Tasks)
		for k := range loop.Plan.Tasks {
			task := &loop.Plan.Tasks[k]
			task.Due = task.Due.AddDays(shift)
		}
		for _, e := range first.History {
			e.Loop = loop.ID
			change.Entries = append(change.Entries, e)
		}
		change.Owners, change.Machines, change.Loops = append(change.Owners, owner), append(change.Machines, machine), append(change.Loops, loop)
	}
	return change
}

// freshTag draws until the tag is a new one.
func freshTag(t *testing.T, tags map[loops.Tag]bool) loops.Tag {
	t.Helper()
	for {
		tag, err := loops.NewTag(rand.Reader)
		require.NoError(t, err)
		if !tags[tag] {
			tags[tag] = true
			return tag
		}
	}
}
