// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"crypto/rand"
	"io"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-message"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/schedule"
)

// homeBench is a workshop whose pages nobody elsewhere can open.
func homeBench(t *testing.T, base string) bench {
	t.Helper()
	s, err := store.Open(filepath.Join(t.TempDir(), "register.db"), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	w := workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: base, Zone: time.UTC, SendHour: 8,
		Policy: schedule.DefaultPolicy(), Technician: "technician@test.example",
	}, rand.Reader, keys(t, 1))
	return bench{w, s}
}

// everyLetter has the bench write one letter of each kind, and returns them.
func everyLetter(t *testing.T, b bench) map[loops.Purpose]loops.Message {
	t.Helper()
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	b.delivered(t, at("2026-05-01 15").At)
	look := workshop.NextTasks(loop.Plan)[0]
	now := look.Due.AddDays(7).At(10, time.UTC) // two weeks and more after the letter of the hand-over
	swept, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
	require.NoError(t, err)
	require.NotEmpty(t, swept.Reminders)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	for _, kind := range []loops.AnswerKind{loops.SomethingOff, loops.CallMe, loops.Pause} {
		_, err := b.Answer(workshop.Stamp{At: now, By: "owner"}, owner, loops.Answer{Answer: kind})
		require.NoError(t, err)
	}
	morning, err := b.MailMorning(workshop.Stamp{At: now, By: "schedule"})
	require.NoError(t, err)
	require.True(t, morning)
	buyer, err := b.AddOwner(workshop.Stamp{At: now, By: "test"}, loops.Owner{Name: "Bo Buyer", Email: "bo@garden.example", Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	_, err = b.Do(workshop.Stamp{At: now, By: "test"}, loop.Tag, loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{To: buyer.ID}})
	require.NoError(t, err)
	all := map[loops.Purpose]loops.Message{}
	for _, m := range b.messages(t) {
		all[m.Purpose] = m
	}
	return all
}

// linksIn are all web addresses and mails to write in every header and part of a
// letter, decoded, and every address of its calendar.
func linksIn(t *testing.T, raw []byte) (web, mails []string) {
	t.Helper()
	look := func(text string) {
		web = append(web, regexp.MustCompile(`(?i)(https?|webcal)://[^\s"<>]+|\bwww\.[^\s"<>]+`).FindAllString(text, -1)...)
		mails = append(mails, regexp.MustCompile(`mailto:[^\s"<>]+\?[^\s"<>]+`).FindAllString(text, -1)...)
	}
	entity, err := message.Read(bytes.NewReader(raw))
	require.NoError(t, err)
	for fields := entity.Header.Fields(); fields.Next(); {
		value, err := fields.Text()
		require.NoError(t, err)
		look(value)
	}
	parts := 0
	require.NoError(t, entity.Walk(func(_ []int, part *message.Entity, err error) error {
		require.NoError(t, err)
		if part.MultipartReader() != nil {
			return nil
		}
		body, err := io.ReadAll(part.Body)
		require.NoError(t, err)
		text := string(body)
		if kind, _, _ := part.Header.ContentType(); kind == "text/calendar" {
			text = strings.ReplaceAll(text, "\r\n ", "")
			web = append(web, regexp.MustCompile(`(?m)^URL.*$`).FindAllString(text, -1)...)
		}
		look(strings.ReplaceAll(text, "&amp;", "&"))
		parts++
		return nil
	}))
	require.GreaterOrEqual(t, parts, 2)
	return web, mails
}

// Where owners cannot open our pages no letter of any kind has a link to them, in
// no header, part or calendar; answers and unsubscribing are mails whose tokens
// say what the button says.
func TestNoLinkThatNobodyCanOpenLeaves(t *testing.T) {
	t.Parallel()
	kinds := []loops.Purpose{loops.PurposeHandover, loops.PurposeReminder, loops.PurposeReceipt, loops.PurposeWelcome, loops.PurposeMorning}
	for _, base := range []string{"http://127.0.0.1:8377", "", "http://192.168.178.20:8377", "http://bench.local"} {
		letters := everyLetter(t, homeBench(t, base))
		for _, kind := range kinds {
			m, ok := letters[kind]
			require.True(t, ok, kind)
			web, mails := linksIn(t, m.Raw)
			assert.Empty(t, web, "%s with base %q", kind, base)
			if kind == loops.PurposeMorning {
				continue
			}
			require.NotEmpty(t, mails, kind)
			said := map[links.Saying]bool{}
			for _, mail := range mails {
				u, err := url.Parse(mail)
				require.NoError(t, err)
				assert.Equal(t, "bench@test.example", u.Opaque)
				reply, err := keys(t, 1).OpenReply(notify.TokenIn(u.Query().Get("subject")), m.Created)
				require.NoError(t, err, mail)
				assert.Equal(t, m.Owner, reply.Owner)
				if kind == loops.PurposeReminder {
					assert.Equal(t, loops.LoopID(1), reply.Loop, "the letter is about one loop")
				}
				said[reply.Says] = true
			}
			assert.True(t, said[links.SaysStop], kind)
			if kind == loops.PurposeReminder {
				for _, s := range []links.Saying{links.SaysFine, links.SaysOff, links.SaysPause, links.SaysLater, links.SaysMoved, links.SaysSold, links.SaysDone} {
					assert.True(t, said[s], string(s))
				}
			}
			head, err := message.Read(bytes.NewReader(m.Raw))
			require.NoError(t, err)
			assert.Contains(t, head.Header.Get("List-Unsubscribe"), "<mailto:bench@test.example?")
			assert.Empty(t, head.Header.Get("List-Unsubscribe-Post"))
		}
	}
	// The same letters have links where owners can open them: the test sees them.
	for kind, m := range everyLetter(t, homeBench(t, "https://loops.test.example")) {
		web, _ := linksIn(t, m.Raw)
		assert.NotEmpty(t, web, kind)
	}
}
