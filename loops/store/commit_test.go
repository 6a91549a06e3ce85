// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func collect[T any](t testing.TB, seq func(func(T, error) bool)) []T {
	t.Helper()
	var list []T
	for r, err := range seq {
		require.NoError(t, err)
		list = append(list, r)
	}
	return list
}

func TestCommitAndRead(t *testing.T) {
	t.Parallel()
	testCommitAndRead(t, files)
}

func testCommitAndRead(t *testing.T, fresh place) {
	s := fresh.open(t)
	c := workshop(t, s)
	c.Messages = []loops.Message{aMessage(c.Owners[0].ID, loops.Day{Year: 2026, Month: time.December, Dom: 4}, noon)}
	require.NoError(t, s.Commit(c))

	owner, err := s.Owner(c.Owners[0].ID)
	require.NoError(t, err)
	want := c.Owners[0]
	want.Revision = 1
	assert.Equal(t, want, owner)

	machine, err := s.Machine(c.Machines[0].ID)
	require.NoError(t, err)
	wantMachine := c.Machines[0]
	wantMachine.Revision = 1
	assert.Equal(t, wantMachine, machine)

	l, err := s.LoopByTag(c.Loops[0].Tag)
	require.NoError(t, err)
	wantLoop := c.Loops[0]
	wantLoop.Revision = 1
	assert.Equal(t, wantLoop, l)

	history, err := s.History(l.ID)
	require.NoError(t, err)
	assert.Equal(t, c.Entries, history)

	machines, err := s.MachinesOf(owner.ID)
	require.NoError(t, err)
	assert.Equal(t, []loops.Machine{machine}, machines)
	of, err := s.LoopsOf(machine.ID)
	require.NoError(t, err)
	assert.Equal(t, []loops.Loop{l}, of)

	due := c.Loops[0].Plan.Tasks[0].Due
	none, err := s.DueThrough(due.AddDays(-1))
	require.NoError(t, err)
	assert.Empty(t, none)
	dues, err := s.DueThrough(due)
	require.NoError(t, err)
	assert.Equal(t, []loops.Due{{Day: due, Loop: l.ID, Task: loops.Look}}, dues)

	message, err := s.Message(c.Messages[0].Key)
	require.NoError(t, err)
	assert.Equal(t, c.Messages[0], message)

	lines := collect(t, s.Audit())
	require.Len(t, lines, 1)
	assert.Equal(t, "register", lines[0].Action)
	assert.Equal(t, "local:test", lines[0].By)
	assert.Contains(t, lines[0].On, "owner 1, machine 1, loop 1, entry 1 of loop 1, message 1/2026-12-04/reminder")
	sound(t, s)
}

func TestNotFound(t *testing.T) {
	t.Parallel()
	testNotFound(t, files)
}

func testNotFound(t *testing.T, fresh place) {
	s := fresh.open(t)
	_, err := s.Owner(7)
	assert.ErrorIs(t, err, loops.ErrNotFound)
	_, err = s.Machine(7)
	assert.ErrorIs(t, err, loops.ErrNotFound)
	_, err = s.Loop(7)
	assert.ErrorIs(t, err, loops.ErrNotFound)
	_, err = s.LoopByTag("7K3QXA")
	assert.ErrorIs(t, err, loops.ErrNotFound)
	_, err = s.LoopByTag("")
	assert.ErrorIs(t, err, loops.ErrNotFound)
	_, err = s.Message("7/2026-12-03/reminder")
	assert.ErrorIs(t, err, loops.ErrNotFound)
}

// Every change that must be refused leaves the file as it was, byte for byte.
func TestCommitRefuses(t *testing.T) {
	t.Parallel()
	testCommitRefuses(t, files)
}

func testCommitRefuses(t *testing.T, fresh place) {
	day := loops.Day{Year: 2026, Month: time.December, Dom: 4}
	for _, c := range []struct {
		name  string
		spoil func(c *loops.Change, first loops.Change)
		want  error
	}{
		{"stale owner", func(c *loops.Change, first loops.Change) { c.Owners = []loops.Owner{first.Owners[0]} }, loops.ErrConflict},
		{"owner that should be there", func(c *loops.Change, _ loops.Change) { c.Owners[0].Revision = 3 }, loops.ErrConflict},
		{"stale loop", func(c *loops.Change, first loops.Change) { c.Loops[0].ID = first.Loops[0].ID }, loops.ErrConflict},
		{"the same owner twice", func(c *loops.Change, _ loops.Change) { c.Owners = append(c.Owners, c.Owners[0]) }, loops.ErrConflict},
		{"owner without id", func(c *loops.Change, _ loops.Change) { c.Owners[0].ID = 0 }, nil},
		{"tag of another loop", func(c *loops.Change, first loops.Change) { c.Loops[0].Tag = first.Loops[0].Tag }, loops.ErrTagTaken},
		{"no tag", func(c *loops.Change, _ loops.Change) { c.Loops[0].Tag = "" }, nil},
		{"unknown owner", func(c *loops.Change, _ loops.Change) { c.Machines[0].Owner = 99 }, loops.ErrNotFound},
		{"unknown machine", func(c *loops.Change, _ loops.Change) { c.Loops[0].Machine = 99 }, loops.ErrNotFound},
		{"entry with a gap", func(c *loops.Change, _ loops.Change) { c.Entries[0].ID, c.Loops[0].LastEntry = 2, 2 }, loops.ErrConflict},
		{"last entry not told", func(c *loops.Change, _ loops.Change) { c.Loops[0].LastEntry = 0 }, nil},
		{"entry of a loop not in the change", func(c *loops.Change, first loops.Change) {
			c.Entries = append(c.Entries, fillEntry(first.Loops[0].ID, 2, day))
		}, nil},
		{"task without a day", func(c *loops.Change, _ loops.Change) { c.Loops[0].Plan.Tasks[0].Due = loops.Day{} }, nil},
		{"repeated message", func(c *loops.Change, first loops.Change) { c.Messages = first.Messages }, loops.ErrRepeated},
		{"message of nobody", func(c *loops.Change, _ loops.Change) { c.Messages = []loops.Message{aMessage(99, day, noon)} }, loops.ErrNotFound},
		{"message without a next attempt", func(c *loops.Change, first loops.Change) {
			c.Messages = []loops.Message{aMessage(first.Owners[0].ID, day.AddDays(1), time.Time{})}
		}, nil},
		{"nobody did it", func(c *loops.Change, _ loops.Change) { c.By = "" }, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := fresh.open(t)
			first := workshop(t, s)
			first.Messages = []loops.Message{aMessage(first.Owners[0].ID, day, noon)}
			require.NoError(t, s.Commit(first))
			second := workshop(t, s)
			c.spoil(&second, first)
			before := content(t, s)
			err := s.Commit(second)
			require.Error(t, err)
			if c.want != nil {
				assert.ErrorIs(t, err, c.want)
			}
			assert.Equal(t, before, content(t, s), "it changed")
			sound(t, s)
		})
	}
}

func TestCommitOfNothingWritesNothing(t *testing.T) {
	t.Parallel()
	testCommitOfNothingWritesNothing(t, files)
}

func testCommitOfNothingWritesNothing(t *testing.T, fresh place) {
	s := fresh.open(t)
	require.NoError(t, s.Commit(change("nothing")))
	assert.Empty(t, collect(t, s.Audit()))
}

// Two technicians read the same loop; the second to write is told.
func TestTwoTechnicians(t *testing.T) {
	t.Parallel()
	testTwoTechnicians(t, files)
}

func testTwoTechnicians(t *testing.T, fresh place) {
	s := fresh.open(t)
	require.NoError(t, s.Commit(workshop(t, s)))
	read, err := s.Loop(1)
	require.NoError(t, err)
	move := func(due loops.Day) error {
		l := read
		l.Plan = aPlan(due)
		c := change("plan")
		c.Loops = []loops.Loop{l}
		return s.Commit(c)
	}
	due := loops.Day{Year: 2027, Month: time.March, Dom: 1}
	require.NoError(t, move(due))
	require.ErrorIs(t, move(due.AddDays(1)), loops.ErrConflict)
	dues, err := s.DueThrough(due.AddDays(90))
	require.NoError(t, err)
	assert.Equal(t, []loops.Due{{Day: due, Loop: 1, Task: loops.Look}}, dues)
	sound(t, s)
}

// Whatever becomes of a plan, the due index holds its days and no others; a
// paused task has none.
func TestDueIndexFollowsThePlan(t *testing.T) {
	t.Parallel()
	testDueIndexFollowsThePlan(t, files)
}

func testDueIndexFollowsThePlan(t *testing.T, fresh place) {
	s := fresh.open(t)
	require.NoError(t, s.Commit(workshop(t, s)))
	day := loops.Day{Year: 2027, Month: time.May, Dom: 1}
	for _, step := range []struct {
		name  string
		tasks []loops.Task
		want  []loops.Due
	}{
		{"two tasks", []loops.Task{{Kind: loops.Look, Due: day}, {Kind: loops.ServiceCheck, Due: day}},
			[]loops.Due{{Day: day, Loop: 1, Task: loops.Look}, {Day: day, Loop: 1, Task: loops.ServiceCheck}}},
		{"one moves and a paused one is added", []loops.Task{{Kind: loops.Look, Due: day.AddDays(9)}, {Kind: loops.ServiceCheck, Due: day}, {Kind: loops.CoolantChange, Due: day, Paused: true}},
			[]loops.Due{{Day: day, Loop: 1, Task: loops.ServiceCheck}, {Day: day.AddDays(9), Loop: 1, Task: loops.Look}}},
		{"the pause moves over", []loops.Task{{Kind: loops.ServiceCheck, Due: day, Paused: true}, {Kind: loops.CoolantChange, Due: day}},
			[]loops.Due{{Day: day, Loop: 1, Task: loops.CoolantChange}}},
		{"nothing planned", nil, nil},
	} {
		l, err := s.Loop(1)
		require.NoError(t, err)
		l.Plan.Tasks = step.tasks
		c := change(step.name)
		c.Loops = []loops.Loop{l}
		require.NoError(t, s.Commit(c), step.name)
		dues, err := s.DueThrough(day.AddDays(99))
		require.NoError(t, err)
		assert.Equal(t, step.want, dues, step.name)
		sound(t, s)
	}
}

// A machine that goes to another owner, and a loop whose label is replaced,
// leave no line behind in the indexes.
func TestIndexesMove(t *testing.T) {
	t.Parallel()
	testIndexesMove(t, files)
}

func testIndexesMove(t *testing.T, fresh place) {
	s := fresh.open(t)
	require.NoError(t, s.Commit(workshop(t, s)))
	require.NoError(t, s.Commit(workshop(t, s)))
	m, err := s.Machine(1)
	require.NoError(t, err)
	l, err := s.Loop(1)
	require.NoError(t, err)
	m.Owner, l.Tag, l.Machine = 2, "7K3QXA", 2
	c := change("transfer")
	c.Machines, c.Loops = []loops.Machine{m}, []loops.Loop{l}
	require.NoError(t, s.Commit(c))
	first, err := s.MachinesOf(1)
	require.NoError(t, err)
	assert.Empty(t, first)
	second, err := s.MachinesOf(2)
	require.NoError(t, err)
	assert.Len(t, second, 2)
	_, err = s.LoopByTag(tag(1))
	assert.ErrorIs(t, err, loops.ErrNotFound)
	of, err := s.LoopsOf(2)
	require.NoError(t, err)
	assert.Len(t, of, 2)
	sound(t, s)
}

// An id that the caller brought is never handed out again.
func TestIDsAreNotHandedOutTwice(t *testing.T) {
	t.Parallel()
	testIDsAreNotHandedOutTwice(t, files)
}

func testIDsAreNotHandedOutTwice(t *testing.T, fresh place) {
	s := fresh.open(t)
	c := change("import")
	c.Owners = []loops.Owner{{ID: 41, Name: "Ana Fern"}}
	require.NoError(t, s.Commit(c))
	id, err := s.NewOwnerID()
	require.NoError(t, err)
	assert.Equal(t, loops.OwnerID(42), id)
}

// A scan hands out its records outside any transaction: the caller may write.
func TestScanWhileWriting(t *testing.T) {
	t.Parallel()
	testScanWhileWriting(t, files)
}

func testScanWhileWriting(t *testing.T, fresh place) {
	s := fresh.open(t)
	c := change("many")
	for id := range loops.OwnerID(600) {
		c.Owners = append(c.Owners, loops.Owner{ID: id + 1, Name: "Ana Fern"})
	}
	require.NoError(t, s.Commit(c))
	n := 0
	for o, err := range s.Owners() {
		require.NoError(t, err)
		if n++; n%100 == 1 {
			o.Name = "Ana Moss"
			edit := change("rename")
			edit.Owners = []loops.Owner{o}
			require.NoError(t, s.Commit(edit))
		}
	}
	assert.Equal(t, 600, n)
	lines := collect(t, s.Audit())
	require.Len(t, lines, 7)
	assert.Equal(t, "many", lines[6].Action)
	assert.Contains(t, lines[6].On, "580 more")
}

// The clock is set back between two writes: history and audit keep the order
// in which things were recorded.
func TestClockSetBack(t *testing.T) {
	t.Parallel()
	testClockSetBack(t, files)
}

func testClockSetBack(t *testing.T, fresh place) {
	s := fresh.open(t)
	first := workshop(t, s)
	require.NoError(t, s.Commit(first))
	l, err := s.Loop(1)
	require.NoError(t, err)
	entry := fillEntry(l.ID, 2, first.Entries[0].Day)
	entry.Recorded = noon.Add(-48 * time.Hour)
	l.LastEntry = 2
	l.State = loops.Fold(append(first.Entries, entry))
	c := change("refill")
	c.At = entry.Recorded
	c.Loops, c.Entries = []loops.Loop{l}, []loops.Entry{entry}
	require.NoError(t, s.Commit(c))
	history, err := s.History(1)
	require.NoError(t, err)
	require.Len(t, history, 2)
	assert.True(t, history[1].Recorded.Before(history[0].Recorded))
	assert.Equal(t, "refill", collect(t, s.Audit())[0].Action)
	sound(t, s)
}
