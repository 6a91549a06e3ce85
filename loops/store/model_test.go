// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/loops/store"
)

// model is what the store should hold, as plain maps.
type model struct {
	s        *store.Store
	owners   map[loops.OwnerID]loops.Owner
	machines map[loops.MachineID]loops.Machine
	loops    map[loops.LoopID]loops.Loop
	history  map[loops.LoopID][]loops.Entry
	messages map[loops.MessageKey]loops.Message
	sent     map[loops.Sent]loops.MessageKey // without the message, and the message
	audit    int
}

func keysOf[K ~uint64 | ~string, V any](m map[K]V) []K {
	var keys []K
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// pick draws one of the keys, and skips the action where there is none.
func pick[K ~uint64 | ~string, V any](t *rapid.T, m map[K]V, label string) K {
	if len(m) == 0 {
		t.Skip("none yet")
	}
	return rapid.SampledFrom(keysOf(m)).Draw(t, label)
}

func (m *model) register(t *rapid.T) {
	owner, err := m.s.NewOwnerID()
	require.NoError(t, err)
	machine, err := m.s.NewMachineID()
	require.NoError(t, err)
	c := change("register")
	c.Owners = []loops.Owner{{ID: owner, Name: rapid.StringMatching("[A-Z][a-zß]{1,9}").Draw(t, "name")}}
	c.Machines = []loops.Machine{{ID: machine, Owner: owner, Kind: loops.Desktop, Name: "tower"}}
	require.NoError(t, m.s.Commit(c))
	m.audit++
	c.Owners[0].Revision, c.Machines[0].Revision = 1, 1
	m.owners[owner], m.machines[machine] = c.Owners[0], c.Machines[0]
}

func (m *model) addLoop(t *rapid.T) {
	machine := pick(t, m.machines, "machine")
	id, err := m.s.NewLoopID()
	require.NoError(t, err)
	l := loops.Loop{ID: id, Machine: machine, Tag: tag(uint64(id)), Construction: loops.Construction{Volume: 0.5}, Plan: aPlan(drawDay(t, "due"))}
	c := change("add loop")
	c.Loops = []loops.Loop{l}
	require.NoError(t, m.s.Commit(c))
	m.audit++
	l.Revision = 1
	m.loops[id] = l
}

// work appends an entry or two, and makes another plan with them.
func (m *model) work(t *rapid.T) {
	l := m.loops[pick(t, m.loops, "loop")]
	history := m.history[l.ID]
	c := change("work")
	for range rapid.IntRange(1, 2).Draw(t, "entries") {
		e := fillEntry(l.ID, l.LastEntry+1, drawDay(t, "day"))
		if rapid.Bool().Draw(t, "drain") {
			e.Kind, e.Fill, e.Drain = loops.KindDrain, nil, &loops.Drain{Left: 0.02}
		}
		c.Entries, history = append(c.Entries, e), append(slices.Clone(history), e)
		l.LastEntry++
	}
	l.State, l.Plan = loops.Fold(history), aPlan(drawDay(t, "due"))
	c.Loops = []loops.Loop{l}
	require.NoError(t, m.s.Commit(c))
	m.audit++
	l.Revision++
	m.loops[l.ID], m.history[l.ID] = l, history
}

func (m *model) stale(t *rapid.T) {
	l := m.loops[pick(t, m.loops, "loop")]
	l.Revision += rapid.Uint64Range(1, 3).Draw(t, "off by")
	c := change("stale")
	c.Loops = []loops.Loop{l}
	require.ErrorIs(t, m.s.Commit(c), loops.ErrConflict)
}

func (m *model) remind(t *rapid.T) {
	l := m.loops[pick(t, m.loops, "loop")]
	owner := m.machines[l.Machine].Owner
	message := aMessage(owner, drawDay(t, "day"), drawInstant(t, "next").UTC())
	message.Created = drawInstant(t, "created").UTC()
	message.About = []loops.Topic{{Loop: l.ID, Task: loops.Look, Due: l.Plan.Tasks[0].Due, Stage: rapid.SampledFrom([]loops.Stage{loops.StageDue, loops.StageLate}).Draw(t, "stage")}}
	c := change("remind")
	c.Messages = []loops.Message{message}
	_, repeated := m.messages[message.Key]
	err := m.s.Commit(c)
	if repeated {
		require.ErrorIs(t, err, loops.ErrRepeated)
		return
	}
	require.NoError(t, err)
	m.audit++
	m.messages[message.Key] = message
}

func (m *model) deliver(t *rapid.T) {
	message := m.messages[pick(t, m.messages, "message")]
	at := drawInstant(t, "at").UTC()
	left, err := m.s.MarkAttempts([]loops.Attempt{{Message: message, Next: at.Add(time.Hour)}}, loops.StoreRevision{}, at)
	if message.Status != loops.Queued {
		require.ErrorIs(t, err, loops.ErrConflict)
		return
	}
	require.NoError(t, err)
	message.Attempts++
	message.Claim = left.Write
	message.LastAttempt, message.NextAttempt, message.Unsure = at, at.Add(time.Hour), true
	if rapid.Bool().Draw(t, "accepted") {
		require.NoError(t, m.s.MarkDelivered(at, left.Write, message.Key))
		m.audit++
		message.Status, message.Unsure = loops.Delivered, false
		for _, mark := range message.Marks() {
			mark.Message = ""
			m.sent[mark] = message.Key
		}
	}
	m.messages[message.Key] = message
}

func (m *model) reopen(t *rapid.T) {
	path := m.s.Path()
	require.NoError(t, m.s.Close())
	var err error
	m.s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
}

// agree compares everything the store says with the model.
func (m *model) agree(t *rapid.T) {
	assert.Equal(t, keysOf(m.owners), idsOf(t, m.s.Owners(), func(o loops.Owner) loops.OwnerID {
		assert.Equal(t, m.owners[o.ID], o)
		return o.ID
	}))
	var dues []loops.Due
	assert.Equal(t, keysOf(m.loops), idsOf(t, m.s.Loops(), func(l loops.Loop) loops.LoopID {
		assert.Equal(t, m.loops[l.ID], l)
		history, err := m.s.History(l.ID)
		require.NoError(t, err)
		assert.Equal(t, m.history[l.ID], history)
		dues = append(dues, l.Dues()...)
		return l.ID
	}))
	got, err := m.s.DueThrough(loops.Day{Year: loops.MaxYear, Month: time.December, Dom: 31})
	require.NoError(t, err)
	assert.ElementsMatch(t, dues, got)
	waiting := 0
	for key, want := range m.messages {
		message, err := m.s.Message(key)
		require.NoError(t, err)
		assert.Equal(t, want, message)
		if want.Status == loops.Queued {
			waiting++
		}
	}
	for want, message := range m.sent {
		marks, err := m.s.Sent(want.Loop, want.Task, want.Due)
		require.NoError(t, err)
		want.Message = message
		assert.Contains(t, marks, want)
	}
	queue, err := m.s.NextQueued(time.Date(loops.MaxYear, 1, 1, 0, 0, 0, 0, time.UTC), 1000)
	require.NoError(t, err)
	assert.Len(t, queue, waiting)
	assert.True(t, slices.IsSortedFunc(queue, func(a, b loops.Message) int {
		return a.NextAttempt.Truncate(time.Second).Compare(b.NextAttempt.Truncate(time.Second))
	}))
	lines := 0
	for _, err := range m.s.Audit() {
		require.NoError(t, err)
		lines++
	}
	assert.Equal(t, m.audit, lines)
	report, err := m.s.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
}

func idsOf[T any, N ~uint64](t *rapid.T, seq func(func(T, error) bool), id func(T) N) []N {
	var ids []N
	for r, err := range seq {
		require.NoError(t, err)
		ids = append(ids, id(r))
	}
	return ids
}

// Random actions on a store and on plain maps always agree.
func TestStoreAgainstModel(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		folder, err := os.MkdirTemp("", "model")
		require.NoError(t, err)
		defer func() { assert.NoError(t, os.RemoveAll(folder)) }()
		againstModel(t, filepath.Join(folder, "shop.fillmark"))
	})
}

// againstModel does random things to a new store at path.
func againstModel(t *rapid.T, path string) {
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	m := &model{
		s: s, owners: map[loops.OwnerID]loops.Owner{}, machines: map[loops.MachineID]loops.Machine{},
		loops: map[loops.LoopID]loops.Loop{}, history: map[loops.LoopID][]loops.Entry{},
		messages: map[loops.MessageKey]loops.Message{}, sent: map[loops.Sent]loops.MessageKey{},
	}
	defer func() { assert.NoError(t, m.s.Close()) }()
	t.Repeat(map[string]func(*rapid.T){
		"register": m.register, "add loop": m.addLoop, "work": m.work, "stale": m.stale,
		"remind": m.remind, "deliver": m.deliver, "reopen": m.reopen,
		"": m.agree,
	})
}
