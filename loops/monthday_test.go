// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func TestMonthDay(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]loops.MonthDay{"15 Oct": {Month: time.October, Dom: 15}, "29 Feb": {Month: time.February, Dom: 29}} {
		got, err := loops.ParseMonthDay(text)
		require.NoError(t, err)
		assert.Equal(t, want, got)
		assert.Equal(t, text, got.String())
		var again loops.MonthDay
		raw, err := got.MarshalText()
		require.NoError(t, err)
		require.NoError(t, again.UnmarshalText(raw))
		assert.Equal(t, got, again)
	}
	assert.Equal(t, loops.Day{Year: 2027, Month: time.February, Dom: 28}, loops.MonthDay{Month: time.February, Dom: 29}.In(2027))
	assert.Equal(t, loops.Day{Year: 2028, Month: time.February, Dom: 29}, loops.MonthDay{Month: time.February, Dom: 29}.In(2028))
	for _, text := range []string{"", "31 Feb", "Oct 15", "15 October 2026", "0 Jan"} {
		_, err := loops.ParseMonthDay(text)
		var invalid *loops.InvalidError
		require.ErrorAs(t, err, &invalid, text)
	}
	assert.Empty(t, loops.MonthDay{}.String())
}

func TestAnswersAreFoldedByTask(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	answer := func(day loops.Day, kind loops.AnswerKind, tasks ...loops.TaskKind) loops.Entry {
		return loops.Entry{Kind: loops.KindAnswer, Day: day, By: "owner", Answer: &loops.Answer{Answer: kind, Tasks: tasks}}
	}
	s := loops.Fold(numbered(fill(d, 0.4), answer(d.AddDays(5), loops.AllFine, loops.Look, loops.CoolantChange), answer(d.AddDays(9), loops.CallMe, loops.Look)))
	assert.Equal(t, d.AddDays(9), s.AnsweredOn(loops.Look))
	assert.Equal(t, d.AddDays(5), s.AnsweredOn(loops.CoolantChange))
	assert.True(t, s.AnsweredOn(loops.ServiceCheck).IsZero())
	assert.Equal(t, d.AddDays(9), s.Asked)
	assert.Equal(t, loops.CallMe, s.AskedFor)

	s = loops.Fold(numbered(fill(d, 0.4), answer(d.AddDays(5), loops.SomethingOff, loops.Look)))
	assert.Equal(t, d.AddDays(5), s.AnsweredOn(loops.ServiceCheck), "the owner knows of the check it brings about")
	s = loops.Fold(numbered(fill(d, 0.4), answer(d.AddDays(5), loops.Pause, loops.Look), comparable(d.AddDays(6), loops.Good)))
	assert.True(t, s.Asked.IsZero(), "a technician took it up")
	s = loops.Fold(numbered(fill(d, 0.4), answer(d.AddDays(5), loops.AllFine, loops.Look), fill(d.AddDays(6), 0.4)))
	assert.Empty(t, s.Answered, "a fill begins again")
}

// What an owner has sold stays told until somebody sees to that, whatever else is
// put down meanwhile.
func TestSoldStaysUntilItIsTakenUp(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	said := func(n int, kind loops.AnswerKind) loops.Entry {
		return loops.Entry{Kind: loops.KindAnswer, Day: d.AddDays(n), By: "owner", Answer: &loops.Answer{Answer: kind}}
	}
	call := func(how loops.CallOutcome) loops.Entry {
		return loops.Entry{Kind: loops.KindCall, Call: &loops.OwnerCall{Outcome: how}}
	}
	for name, tc := range map[string]struct {
		then  loops.Entry
		taken bool
	}{
		"note":          {loops.Entry{Kind: loops.KindNote, Note: "a letter came back"}, false},
		"weighing":      {loops.Entry{Kind: loops.KindWeighing, Weighing: &loops.Weighing{Stage: loops.WeighedLater, Weight: 1.2}}, false},
		"readings":      {comparable(d, loops.Good), false},
		"setting":       {loops.Entry{Kind: loops.KindSetting, Setting: &loops.Setting{Task: loops.Look, Paused: true, Why: "abroad"}}, false},
		"another reply": {said(0, loops.CallMe), false},
		"all fine":      {said(0, loops.AllFine), false},
		"call in vain":  {call(loops.NotReached), false},
		"call":          {call(loops.Reached), true},
		"new owner":     {loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{From: 1, To: 2}}, true},
		"intake":        {loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "it hums"}}, true},
		"retired":       {loops.Entry{Kind: loops.KindRetirement, Retirement: &loops.Retirement{Reason: loops.Sold}}, true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tc.then.Day = d.AddDays(6)
			s := loops.Fold(numbered(fill(d, 0.4), said(5, loops.PassedOn), tc.then))
			assert.Equal(t, !tc.taken, s.PassedOn == d.AddDays(5), s.PassedOn)
			assert.Equal(t, !tc.taken, s.Wanted())
		})
	}
}
