// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"crypto/rand"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/schedule"
)

// mailBench is a bench that gets a morning list and mail that comes back.
func mailBench(t *testing.T) (bench, *notify.ReturnPath) {
	t.Helper()
	s, err := store.Open(filepath.Join(t.TempDir(), "register.db"), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	path, err := notify.NewReturnPath("bounce@test.example", bytes.Repeat([]byte{3}, 32))
	require.NoError(t, err)
	w := workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8,
		Policy: schedule.DefaultPolicy(), Technician: "technician@test.example", ReturnPath: path,
	}, rand.Reader, keys(t, 1))
	return bench{w, s}, path
}

// latest returns the newest message of a purpose, decoded.
func (b bench) latest(t *testing.T, p loops.Purpose) (loops.Message, notify.Preview) {
	t.Helper()
	for _, m := range b.messages(t) {
		if m.Purpose == p {
			preview, err := notify.ReadPreview(m.Raw)
			require.NoError(t, err)
			return m, preview
		}
	}
	require.Fail(t, "no message", string(p))
	return loops.Message{}, notify.Preview{}
}

func squeeze(text string) string { return strings.Join(strings.Fields(text), " ") }

// Once the owner said that it is sold nobody is written to about it, whatever is
// put down, until a new owner is on record.
func TestSoldEndsTheLetters(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	_, err = b.AddOwner(at("2026-05-01 16"), loops.Owner{Name: "Bo Harbour", Email: "bo@quay.example", Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	now := workshop.NextTasks(loop.Plan)[0].Due.At(10, time.UTC)
	_, err = b.Answer(workshop.Stamp{At: now, By: "owner"}, owner, loops.Answer{Answer: loops.PassedOn})
	require.NoError(t, err)
	_, err = b.Do(workshop.Stamp{At: now.Add(time.Hour), By: "mo"}, loop.Tag, already(loops.Entry{Kind: loops.KindNote, Note: "the receipt came back"}))
	require.NoError(t, err)
	reminded := func(days int) (to []string) {
		for range days {
			now = now.AddDate(0, 0, 1)
			b.delivered(t, now)
			swept, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
			require.NoError(t, err)
			for _, r := range swept.Reminders {
				m, err := b.store.Message(r.Key)
				require.NoError(t, err)
				to = append(to, m.To)
			}
		}
		return to
	}
	assert.Empty(t, reminded(60))
	due, err := b.Due(now)
	require.NoError(t, err)
	require.NotEmpty(t, due.Call)
	assert.Contains(t, due.Call[0].Why, `answered "it is sold" on`)
	_, err = b.Do(workshop.Stamp{At: now, By: "mo"}, loop.Tag, already(loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{To: 2}}))
	require.NoError(t, err)
	assert.Contains(t, reminded(400), "bo@quay.example")
}

// Every answer becomes history, moves the reminders, tells the technician and
// is confirmed, once a day.
func TestAnswers(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		answer  loops.AnswerKind
		receipt string
		morning string // in the next morning's list; empty for nothing
		call    string // on the list of calls; empty for none
		mails   bool   // whether the look is still reminded of a month later
	}{
		{loops.AllFine, "you saw nothing wrong", "", "", true},
		{loops.SomethingOff, "something is off", "something is off: a new noise, on Fri 15 May 2026. In their words: “It gurgles.”", `answered "something is off: a new noise" on`, false},
		{loops.CallMe, "please call", "call me", `answered "call me" on`, false},
		{loops.Pause, "a pause", "grey tower, Ana Ruizado: pause", `answered "pause" on`, false},
	} {
		t.Run(string(tc.answer), func(t *testing.T) {
			t.Parallel()
			b, _ := mailBench(t)
			loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
			owner, err := b.store.Owner(1)
			require.NoError(t, err)
			look := workshop.NextTasks(loop.Plan)[0]
			now := look.Due.At(10, time.UTC)
			for press := range 2 {
				answer := loops.Answer{Answer: tc.answer, Words: "It gurgles."}
				if tc.answer == loops.SomethingOff {
					answer.Noticed = []loops.Notice{loops.NoticeNoise}
				}
				tags, err := b.Answer(workshop.Stamp{At: now, By: "owner"}, owner, answer)
				require.NoError(t, err)
				if press == 0 {
					assert.Equal(t, []loops.Tag{loop.Tag}, tags)
				}
			}
			receipts := 0
			for _, m := range b.messages(t) {
				if m.Purpose == loops.PurposeReceipt {
					receipts++
				}
			}
			assert.Equal(t, 1, receipts, "one receipt a day")
			_, receipt := b.latest(t, loops.PurposeReceipt)
			assert.Contains(t, receipt.Subject, tc.receipt)
			file, err := b.File(loop.Tag)
			require.NoError(t, err)
			assert.True(t, file.Loop.State.LastKnownGood.IsZero(), "an owner's answer is no measurement")

			_, err = b.MailMorning(workshop.Stamp{At: now.AddDate(0, 0, 1), By: "schedule"})
			require.NoError(t, err)
			_, morning := b.latest(t, loops.PurposeMorning)
			if tc.morning != "" {
				assert.Contains(t, squeeze(morning.Text), tc.morning)
			}
			due, err := b.Due(now.AddDate(0, 0, 1))
			require.NoError(t, err)
			if tc.call == "" {
				assert.Empty(t, due.Call)
			} else {
				require.NotEmpty(t, due.Call)
				assert.Contains(t, due.Call[0].Why, tc.call)
			}
			reminded := false
			for day := range 40 {
				b.delivered(t, now.AddDate(0, 0, day))
				swept, err := b.Sweep(workshop.Stamp{At: now.AddDate(0, 0, day), By: "schedule"})
				require.NoError(t, err)
				reminded = reminded || len(swept.Reminders) > 0
			}
			assert.Equal(t, tc.mails, reminded)
		})
	}
}

// A pause does not hide that the owner asked for a call before, until a
// technician has done something about it.
func TestCallAndThenPause(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	for _, answer := range []loops.Answer{{Answer: loops.CallMe, Words: "It gurgles."}, {Answer: loops.Pause}} {
		_, err := b.Answer(at("2026-05-20 10"), owner, answer)
		require.NoError(t, err)
	}
	morning := func(day string) string {
		_, err := b.MailMorning(at(day + " 09"))
		require.NoError(t, err)
		_, list := b.latest(t, loops.PurposeMorning)
		return squeeze(list.Text)
	}
	list := morning("2026-05-21")
	assert.Contains(t, list, "Ana Ruizado: call me, on Wed 20 May 2026. In their words: “It gurgles.”")
	assert.Contains(t, list, "Ana Ruizado: pause, on Wed 20 May 2026.")
	_, err = b.Do(at("2026-05-21 11"), loop.Tag, loops.Entry{Kind: loops.KindNote, Note: "spoke to her"})
	require.NoError(t, err)
	assert.NotContains(t, morning("2026-05-22"), "call me")
}

// An answer to a page where nothing is open is kept all the same.
func TestNoAnswerIsLost(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	tags, err := b.Answer(at("2026-05-02 10"), owner, loops.Answer{Answer: loops.SomethingOff, Words: "drops"})
	require.NoError(t, err)
	assert.Equal(t, []loops.Tag{loop.Tag}, tags)
}

// What an owner says while all they have is drained on the bench is on record.
func TestAnAnswerAboutADrainedLoopIsKept(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	_, err := b.Do(at("2026-05-02 09"), loop.Tag, already(loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{Out: 0.48, Disposal: "drum 2"}}))
	require.NoError(t, err)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	tags, err := b.Answer(at("2026-05-02 10"), owner, loops.Answer{Answer: loops.SomethingOff, Words: "it dripped on the desk"})
	require.NoError(t, err)
	assert.Equal(t, []loops.Tag{loop.Tag}, tags)
	b.latest(t, loops.PurposeReceipt)
	require.NoError(t, b.NotMe(at("2026-05-03 10"), owner.ID))
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.True(t, file.Loop.State.Wanted(), "a call is asked for")
}

// One line that is too long for a letter keeps no morning list back.
func TestMorningListWithALongLine(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	machine, err := b.store.Machine(1)
	require.NoError(t, err)
	owner.Name, machine.Name = strings.Repeat("Ä", 100), strings.Repeat("Ö", 100)
	_, err = b.Edit(at("2026-05-01 16"), workshop.Edit{Owner: &owner, Machine: &machine})
	require.NoError(t, err)
	_, err = b.Answer(at("2026-05-02 10"), owner, loops.Answer{Answer: loops.SomethingOff, Words: strings.Repeat("ü", 1000)})
	require.NoError(t, err)
	sent, err := b.MailMorning(at("2026-05-03 09"))
	require.NoError(t, err)
	assert.True(t, sent)
	_, preview := b.latest(t, loops.PurposeMorning)
	assert.Contains(t, preview.Text, "ü…")
}

func TestBringNamesTwentyLoops(t *testing.T) {
	t.Parallel()
	bring := workshop.Bring{What: "water", Volume: 2, Note: "the dose", For: slices.Repeat([]loops.Tag{"7K3QXW"}, 20)}
	assert.NotContains(t, bring.Sentence(), "more")
	bring.For = slices.Repeat(bring.For, 20)
	assert.Contains(t, bring.Sentence(), "7K3QXW and 380 more: the dose.")
	assert.Less(t, len(bring.Sentence()), 300)
}

func TestMorningListOnceADay(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	for _, tc := range []struct {
		at   string
		sent bool
	}{{"2026-05-01 07", false}, {"2026-05-01 08", true}, {"2026-05-01 20", false}, {"2026-05-02 09", true}} {
		sent, err := b.MailMorning(at(tc.at))
		require.NoError(t, err)
		assert.Equal(t, tc.sent, sent, tc.at)
	}
	m, _ := b.latest(t, loops.PurposeMorning)
	assert.Equal(t, "technician@test.example", m.To)
	none := newBench(t)
	sent, err := none.MailMorning(at("2026-05-01 10"))
	require.NoError(t, err)
	assert.False(t, sent, "no address, no list")
}

func dsn(to, status string) string {
	return "Return-Path: <>\r\nTo: " + to + "\r\nAuto-Submitted: auto-replied\r\nMIME-Version: 1.0\r\n" +
		"Content-Type: multipart/report; report-type=delivery-status; boundary=x\r\n\r\n--x\r\nContent-Type: message/delivery-status\r\n\r\n" +
		"Reporting-MTA: dns; relay.example\r\n\r\nFinal-Recipient: rfc822; ana@garden.example\r\nAction: failed\r\nStatus: " + status + "\r\n--x--\r\n"
}

func TestBounceGivesTheAddressUp(t *testing.T) {
	t.Parallel()
	b, path := mailBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	m := b.messages(t)[0]
	require.NoError(t, b.store.MarkDelivered(at("2026-05-01 16").At, 0, m.Key))

	for name, foreign := range map[string]string{
		"no return path":     "ana@garden.example",
		"a forged one":       "bounce+aaaaaaaaaaaaaaaabbbbbbbbbbbbbbbb@test.example",
		"one of no message":  path.For("99/2026-01-01/reminder"),
		"another's own path": strings.Replace(path.For(m.Key), "@test", "@other", 1),
	} {
		_, err := b.Bounce(at("2026-05-01 17"), strings.NewReader(dsn(foreign, "5.1.1")))
		assert.ErrorIs(t, err, workshop.ErrForeignBounce, name)
	}
	_, err := b.Bounce(at("2026-05-01 17"), strings.NewReader(strings.Replace(dsn(path.For(m.Key), "4.2.2"), "failed", "delayed", 1)))
	require.ErrorIs(t, err, notify.ErrNotBounce)
	late, err := b.Bounce(at("2026-05-01 17"), strings.NewReader(dsn(path.For(m.Key), "4.2.2")))
	require.NoError(t, err, "given up after days of trying")
	assert.False(t, late.GivenUp)
	_, err = b.store.Suppression("ana@garden.example")
	require.ErrorIs(t, err, loops.ErrNotFound, "the address is still good")

	back, err := b.Bounce(at("2026-05-01 17"), strings.NewReader(dsn(path.For(m.Key), "5.1.1")))
	require.NoError(t, err)
	assert.True(t, back.GivenUp)
	assert.Equal(t, m.Key, back.Message)
	m, err = b.store.Message(m.Key)
	require.NoError(t, err)
	assert.Equal(t, loops.Refused, m.Status)

	// The technician calls, nobody mails, and the list says what to do.
	due := workshop.NextTasks(loop.Plan)[0].Due
	swept, err := b.Sweep(workshop.Stamp{At: due.At(12, time.UTC), By: "schedule"})
	require.NoError(t, err)
	assert.Empty(t, swept.Reminders)
	assert.Positive(t, swept.Calls)
	_, err = b.MailMorning(workshop.Stamp{At: due.At(12, time.UTC), By: "schedule"})
	require.NoError(t, err)
	_, morning := b.latest(t, loops.PurposeMorning)
	assert.Contains(t, squeeze(morning.Text), "fillmark outbox allow ana@garden.example")

	require.NoError(t, b.Allow(at("2026-05-03 10"), "ana@garden.example"))
	swept, err = b.Sweep(workshop.Stamp{At: due.At(13, time.UTC), By: "schedule"})
	require.NoError(t, err)
	assert.Len(t, swept.Reminders, 1)
}

// A report about a letter to somebody who was erased since says nothing of them:
// no address is given up, and none comes back on record with its words.
func TestBounceOfAnErasedOwnersLetter(t *testing.T) {
	t.Parallel()
	b, path := mailBench(t)
	b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	key := b.messages(t)[0].Key
	require.NoError(t, b.store.MarkDelivered(at("2026-05-01 16").At, 0, key))
	require.NoError(t, b.store.EraseOwner(1, "local:test", at("2026-05-01 16").At, acts.Erasing()))

	told := strings.Replace(dsn(path.For(key), "5.1.1"), "Status: 5.1.1", "Status: 5.1.1\r\nDiagnostic-Code: smtp; 550 <ana@garden.example> unknown", 1)
	back, err := b.Bounce(at("2026-05-01 17"), strings.NewReader(told))
	require.NoError(t, err)
	assert.Equal(t, workshop.Bounced{Message: key, Reason: loops.CameBack}, back)
	m, err := b.store.Message(key)
	require.NoError(t, err)
	assert.Equal(t, loops.Refused, m.Status)
	assert.Equal(t, loops.CameBack, m.LastError)
	for x, err := range b.store.Suppressions() {
		require.NoError(t, err)
		assert.Fail(t, "given up", x.Address)
	}
}

func TestTechnicianActsOnMessages(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	key := b.messages(t)[0].Key
	for _, step := range []struct {
		action workshop.OutboxAction
		want   loops.MessageStatus
	}{
		{workshop.Hold, loops.Held}, {workshop.Release, loops.Queued}, {workshop.Retry, loops.Queued}, {workshop.Drop, loops.Dropped},
	} {
		require.NoError(t, b.ActOnMessage(at("2026-05-01 16"), step.action, key))
		m, err := b.store.Message(key)
		require.NoError(t, err)
		assert.Equal(t, step.want, m.Status)
	}
	assert.ErrorContains(t, b.ActOnMessage(at("2026-05-01 16"), workshop.Release, key), "a message that is held; this one is dropped")
	assert.ErrorContains(t, b.ActOnMessage(at("2026-05-01 16"), "burn", key), "retry, hold, release or drop")
}
