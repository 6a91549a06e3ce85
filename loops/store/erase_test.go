// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// nameless erases as who describes the fields would.
func nameless() loops.Erasing {
	return loops.Erasing{
		Owner: func(o loops.Owner, day loops.Day) loops.Owner {
			return loops.Owner{ID: o.ID, Revision: o.Revision, Name: loops.ErasedText, MailStopped: day}
		},
		Machine: func(m loops.Machine) loops.Machine {
			m.Name, m.Accessories, m.WarrantyNote, m.PromisedBack = string(m.Kind), nil, "", loops.Day{}
			return m
		},
	}
}

// Nothing that says who the owner was is anywhere in the file afterwards, what
// was measured still is, and other owners are as they were.
func TestEraseOwner(t *testing.T) {
	t.Parallel()
	testEraseOwner(t, files)
}

func testEraseOwner(t *testing.T, fresh place) {
	s := fresh.open(t)
	everything(t, s)
	require.NoError(t, s.Suppress(loops.Suppression{Address: "ana@garden.example", Reason: "5.1.1", Since: noon}, "deliverer"))
	before, err := s.History(1)
	require.NoError(t, err)
	other, err := s.Owner(2)
	require.NoError(t, err)
	personal := []string{
		"Ana Fern", "ana@garden.example", "5550 100", "Rua das Flores", "Lisbon", "the chiller", "power lead", "slow and warm",
		"it ticks", "abroad", "citric acid", "not sold after all", `"note":"cloudy"`, "A look at the grey tower",
		"owner wants it back", "worn through", "rig is not here", "stands indoors", "stands on the left", "U3ViamVjdDogQSBsb29r",
	}
	file := content(t, s)
	for _, text := range personal {
		if text != "power lead" {
			assert.Contains(t, string(file), text, "it was there")
		}
	}

	var onTheWay loops.MessageKey
	for m, err := range s.Messages(loops.Queued) {
		require.NoError(t, err)
		if m.Owner == 1 {
			onTheWay = m.Key
		}
	}
	claim, err := s.MarkAttempts([]loops.Attempt{{Message: message(t, s, onTheWay), Next: noon.Add(time.Hour)}}, loops.StoreRevision{}, noon)
	require.NoError(t, err)
	require.NoError(t, s.EraseOwner(1, "rui", noon, nameless()))
	err = s.MarkRefused(onTheWay, claim.Write, noon, loops.Failure{Reason: "550 no such mailbox <ana@garden.example>"})
	require.ErrorIs(t, err, loops.ErrRepeated, "what was on its way puts nothing of it back")

	if _, _, err = s.Compact(t.Context()); !errors.Is(err, store.ErrNoFile) { // a database frees its own pages
		require.NoError(t, err)
	}
	file = content(t, s)
	for _, text := range personal {
		assert.NotContains(t, string(file), text)
	}
	owner, err := s.Owner(1)
	require.NoError(t, err)
	assert.Equal(t, loops.Owner{ID: 1, Revision: 2, Name: "erased", MailStopped: loops.Day{Year: 2026, Month: 12, Dom: 3}}, owner)
	require.NoError(t, owner.Validate())
	m, err := s.Machine(1)
	require.NoError(t, err)
	require.NoError(t, m.Validate())
	after, err := s.History(1)
	require.NoError(t, err)
	require.Len(t, after, len(before))
	for i, e := range after {
		require.NoError(t, e.Validate())
		assert.Equal(t, before[i].Inspection, e.Inspection)
		assert.Equal(t, before[i].Fill, e.Fill)
		assert.Equal(t, before[i].Opening, e.Opening)
	}
	assert.Empty(t, collect(t, s.Messages(loops.Queued)))
	assert.Equal(t, "erase owner", collect(t, s.Audit())[0].Action)
	same, err := s.Owner(2)
	require.NoError(t, err)
	assert.Equal(t, other, same)
	sound(t, s)
	assert.ErrorIs(t, s.EraseOwner(9, "rui", noon, nameless()), loops.ErrNotFound)
}

// soldOn is a loop of Ana's that went to Bo: both said something, and a setting
// of Ana's time still stands.
func soldOn(t *testing.T, s *store.Store) (ana, bo loops.OwnerID, l loops.Loop) {
	t.Helper()
	c := workshop(t, s)
	bo, err := s.NewOwnerID()
	require.NoError(t, err)
	ana = c.Owners[0].ID
	c.Owners = append(c.Owners, loops.Owner{ID: bo, Name: "Bo Lind"})
	c.Machines[0].Owner = bo
	l = c.Loops[0]
	c.Entries[0].Note = "Ana dropped it"
	for _, e := range []loops.Entry{
		{Kind: loops.KindSetting, Setting: &loops.Setting{Task: loops.Look, IntervalMonths: 4, Why: "Ana is abroad"}},
		{Kind: loops.KindTransfer, Transfer: &loops.Transfer{From: ana, To: bo}, Note: "Ana sold it to Bo"},
		{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "Bo hears it"}},
	} {
		l.LastEntry++
		e.ID, e.Loop, e.Recorded, e.Day, e.By = l.LastEntry, l.ID, noon, c.Entries[0].Day, "rui"
		c.Entries = append(c.Entries, e)
	}
	l.State = loops.Fold(c.Entries)
	l.Plan.Tasks[0].Clauses[0] = loops.Clause{Kind: loops.BySetting, Day: l.Plan.Tasks[0].Due, Text: "Every 4 months (Ana is abroad).", Source: "setting of this loop", Grade: "record"}
	c.Loops = []loops.Loop{l}
	require.NoError(t, s.Commit(c))
	return ana, bo, l
}

// A machine that was sold on holds what two people said. Erasing one of them
// takes what is of their time and leaves the other's, and what is due to them.
func TestEraseAFormerOwner(t *testing.T) {
	t.Parallel()
	testEraseAFormerOwner(t, files)
}

func testEraseAFormerOwner(t *testing.T, fresh place) {
	s := fresh.open(t)
	ana, bo, l := soldOn(t, s)
	dues, err := s.DueThrough(l.Plan.Tasks[0].Due)
	require.NoError(t, err)
	require.NotEmpty(t, dues)

	require.NoError(t, s.EraseOwner(ana, "rui", noon, nameless()))
	sound(t, s)
	text := string(exportOf(t, s))
	assert.NotContains(t, text, "Ana")
	assert.Contains(t, text, "Bo hears it")
	assert.Contains(t, text, "the grey tower", "the machine is Bo's")
	still, err := s.DueThrough(l.Plan.Tasks[0].Due)
	require.NoError(t, err)
	assert.Equal(t, dues, still)

	require.NoError(t, s.EraseOwner(bo, "rui", noon, nameless()))
	sound(t, s)
	text = string(exportOf(t, s))
	assert.NotContains(t, text, "Bo hears it")
	assert.NotContains(t, text, "Lind")
}

// Each of two owners of a machine gets what is of their own time.
func TestExportOfAFormerOwner(t *testing.T) {
	t.Parallel()
	testExportOfAFormerOwner(t, files)
}

func testExportOfAFormerOwner(t *testing.T, fresh place) {
	s := fresh.open(t)
	ana, bo, _ := soldOn(t, s)
	var b bytes.Buffer
	require.NoError(t, s.ExportOwner(ana, &b))
	assert.Contains(t, b.String(), "Ana dropped it")
	assert.NotContains(t, b.String(), "Ana sold it to Bo", "a transfer's note is of two owners, so of neither")
	assert.NotContains(t, b.String(), "Bo hears it")
	assert.NotContains(t, b.String(), "the grey tower", "the machine is Bo's")
	assert.Equal(t, 3, strings.Count(b.String(), `{"kind":"entry"`))
	assert.Contains(t, b.String(), `{"lines":5}`)

	b.Reset()
	require.NoError(t, s.ExportOwner(bo, &b))
	assert.Contains(t, b.String(), "Bo hears it")
	assert.NotContains(t, b.String(), "Ana dropped it")
	assert.Equal(t, 4, strings.Count(b.String(), `{"kind":"entry"`), "what was filled stays known")
}

func TestExportOwner(t *testing.T) {
	t.Parallel()
	testExportOwner(t, files)
}

func testExportOwner(t *testing.T, fresh place) {
	s := fresh.open(t)
	everything(t, s)
	require.NoError(t, s.Commit(workshop(t, s)))
	owner, err := s.Owner(1)
	require.NoError(t, err)
	require.NoError(t, s.Suppress(loops.Suppression{Address: strings.ToUpper(owner.Email), Reason: "no such mailbox", Since: noon}, "local:test"))
	var b bytes.Buffer
	require.NoError(t, s.ExportOwner(1, &b))
	counts := map[string]int{}
	lines := bytes.Split(bytes.TrimSpace(b.Bytes()), []byte("\n"))
	for _, line := range lines {
		var l struct{ Kind string }
		require.NoError(t, json.Unmarshal(line, &l))
		counts[l.Kind]++
	}
	assert.Equal(t, map[string]int{"fillmark owner export": 1, "owner": 1, "suppressed": 1, "machine": 1, "loop": 1, "entry": 21, "message": 3, "body": 3, "end": 1}, counts)
	assert.NotContains(t, b.String(), "Björn")
	assert.Contains(t, string(lines[len(lines)-1]), `"lines":32`)
	assert.ErrorContains(t, store.Import(t.Context(), fresh(t), &b), "line 1: kind \"fillmark owner export\"")
	assert.ErrorIs(t, s.ExportOwner(9, &b), loops.ErrNotFound)
}
