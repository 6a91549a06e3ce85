// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

// What is read at once is what is read one after the other, and what is not on
// record is left out.
func TestManyRecordsAtOnce(t *testing.T) {
	t.Parallel()
	testManyRecordsAtOnce(t, files)
}

func testManyRecordsAtOnce(t *testing.T, fresh place) {
	s := fresh.open(t)
	everything(t, s)
	ids, dues := []loops.LoopID{999, 5, 1}, []loops.Due{{Day: on(1, 1), Loop: 999, Task: loops.Look}}
	var machines []loops.MachineID
	for l, err := range s.Loops() {
		require.NoError(t, err)
		ids, machines, dues = append(ids, l.ID), append(machines, l.Machine, 888), append(dues, l.Dues()...)
	}
	found, err := s.LoopsWith(ids)
	require.NoError(t, err)
	histories, err := s.Histories(ids)
	require.NoError(t, err)
	for _, id := range ids {
		loop, err := s.Loop(id)
		is, there := found[id]
		assert.Equal(t, err == nil, there, id)
		assert.Equal(t, loop, is)
		history, err := s.History(id)
		require.NoError(t, err)
		assert.Equal(t, history, histories[id])
	}
	assert.NotEmpty(t, histories)
	of, err := s.MachinesWith(machines)
	require.NoError(t, err)
	assert.NotContains(t, of, loops.MachineID(888))
	for id, m := range of {
		one, err := s.Machine(id)
		require.NoError(t, err)
		assert.Equal(t, one, m)
		owners, err := s.OwnersWith([]loops.OwnerID{m.Owner})
		require.NoError(t, err)
		owner, err := s.Owner(m.Owner)
		assert.Equal(t, err == nil, len(owners) == 1)
		assert.Equal(t, owner, owners[m.Owner])
	}

	var keys []loops.MessageKey
	marked := 0
	for m, err := range s.Messages("") {
		require.NoError(t, err)
		keys = append(keys, m.Key)
		for _, mark := range m.Marks() {
			dues = append(dues, loops.Due{Loop: mark.Loop, Task: mark.Task, Day: mark.Due})
		}
	}
	heads, err := s.MessageHeads(append(keys, "9/2026-12-03/reminder"))
	require.NoError(t, err)
	assert.Len(t, heads, len(keys))
	for key, m := range heads {
		head, err := s.MessageHead(key)
		require.NoError(t, err)
		assert.Equal(t, head, m)
	}
	sent, err := s.SentOf(dues)
	require.NoError(t, err)
	for _, d := range dues {
		marks, err := s.Sent(d.Loop, d.Task, d.Day)
		require.NoError(t, err)
		assert.Equal(t, marks, sent[d])
		marked += len(marks)
	}
	assert.Positive(t, marked)

	require.NoError(t, s.Suppress(loops.Suppression{Address: "Ana@Garden.example", Reason: "gone", Since: noon}, "test"))
	given, err := s.SuppressionsOf([]string{"ANA@garden.example", "bo@garden.example"})
	require.NoError(t, err)
	assert.Len(t, given, 1)
	assert.Equal(t, "gone", given["ANA@garden.example"].Reason)
	none, err := s.LoopsWith(nil)
	require.NoError(t, err)
	assert.Empty(t, none)
	_, err = s.MessageHeads([]loops.MessageKey{""})
	require.Error(t, err)
}
