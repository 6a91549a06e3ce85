// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/notify/words"
)

// mailedBench is a bench without a public address, with one owner who was
// reminded of a look.
type mailedBench struct {
	bench
	loop loops.Loop
	now  time.Time
	uid  uint32
}

func newMailedBench(t *testing.T) *mailedBench {
	t.Helper()
	b := homeBench(t, "http://127.0.0.1:8377")
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	b.delivered(t, at("2026-05-01 15").At)
	now := workshop.NextTasks(loop.Plan)[0].Due.AddDays(7).At(10, time.UTC) // two weeks and more after the letter of the hand-over
	_, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
	require.NoError(t, err)
	return &mailedBench{bench: b, loop: loop, now: now}
}

func (b *mailedBench) token(t *testing.T, says links.Saying) string {
	t.Helper()
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	return keys(t, 1).SignReply(links.Reply{Owner: 1, Epoch: owner.LinkEpoch, Loop: b.loop.ID, Says: says}, b.now.AddDate(0, 0, 30))
}

// written is one of the owner's, with header fields more or instead.
func written(subject, body string, fields ...string) []byte {
	head := []string{"From: Ana <ana@garden.example>", "To: bench@test.example", "Subject: " + subject, "Message-ID: <1@garden.example>"}
	for _, f := range fields {
		name, _, _ := strings.Cut(f, ":")
		for n := range head {
			if strings.HasPrefix(head[n], name+":") {
				head[n], f = f, ""
			}
		}
		if f != "" {
			head = append(head, f)
		}
	}
	return []byte(strings.Join(head, "\r\n") + "\r\n\r\n" + body)
}

func (b *mailedBench) receive(t *testing.T, raw []byte) workshop.Received {
	t.Helper()
	b.uid++
	done, err := b.receiveAs(t, raw, loops.MailPlace{Mailbox: "bench INBOX", Validity: 1, UID: b.uid})
	require.NoError(t, err)
	return done
}

func (b *mailedBench) receiveAs(t *testing.T, raw []byte, place loops.MailPlace) (workshop.Received, error) {
	t.Helper()
	in, err := notify.ReadIncoming(raw)
	require.NoError(t, err)
	return b.Receive(workshop.Stamp{At: b.now.Add(time.Duration(place.UID) * time.Minute), By: "owner"}, loops.MailRead{Place: place, Digest: loops.DigestOf(raw)}, in)
}

// answers are those on record.
func (b *mailedBench) answers(t *testing.T) []loops.Entry {
	t.Helper()
	history, err := b.store.History(b.loop.ID)
	require.NoError(t, err)
	var all []loops.Entry
	for _, e := range history {
		if e.Kind == loops.KindAnswer {
			all = append(all, e)
		}
	}
	return all
}

// What somebody writes who was erased stays in the mailbox, whether their mail has
// a mark or answers a letter: name, address and words are not put on record again.
func TestMailOfAnErasedOwnerIsLeft(t *testing.T) {
	t.Parallel()
	b := newMailedBench(t)
	fine := b.token(t, links.SaysFine)
	letter := "<" + strings.Trim(b.messages(t)[0].MessageID, "<>") + ">"
	require.NotEqual(t, "<>", letter)
	require.NoError(t, b.store.EraseOwner(1, "local:test", b.now, acts.Erasing()))
	for name, raw := range map[string][]byte{
		"a mark of before": written("All fine [fm-"+fine+"]", "Ana Fern, at the lake now."),
		"a mark of now":    written("All fine [fm-"+b.token(t, links.SaysFine)+"]", "Ana Fern."),
		"an answer":        written("Re: your machine", "It is Ana again.", "In-Reply-To: "+letter),
	} {
		assert.Equal(t, workshop.MailLeft, b.receive(t, raw).Outcome, name)
	}
	assert.Empty(t, b.answers(t))
}

// Each button's mail, sent as it is, is what a click would be.
func TestMailIsTheAnswerThatItsButtonSays(t *testing.T) {
	t.Parallel()
	bench := notify.Workshop{From: "bench@test.example"}
	for says, tc := range map[links.Saying]struct {
		kind        loops.AnswerKind
		body, words string
		days        int // of a pause
	}{
		links.SaysFine:  {kind: loops.AllFine, body: "I looked, and all is fine.\r\n\r\n-- \r\nAna Ruizado\r\n3 Quay Row\r\n"},
		links.SaysOff:   {kind: loops.SomethingOff, body: "This is what I see, hear or feel:\r\nIt gurgles.\r\nLouder when tilted.\r\n", words: "It gurgles.\nLouder when tilted."},
		links.SaysCall:  {kind: loops.CallMe, body: "Please call me. A good time is:\r\nafter six\r\n", words: "after six"},
		links.SaysPause: {kind: loops.Pause, body: "Please stop reminding me of what is due now.\r\n"},
		links.SaysLater: {kind: loops.Pause, body: "No reminders for two weeks, please\r\n", days: 14},
		links.SaysMoved: {kind: loops.Moved, body: "I have moved\r\n"},
		links.SaysSold:  {kind: loops.PassedOn, body: "It is sold, or given away\r\n\r\n-- \r\nAna\r\n"},
		links.SaysDone:  {kind: loops.Elsewhere, body: "The work was done elsewhere\r\n"},
	} {
		t.Run(string(says), func(t *testing.T) {
			t.Parallel()
			b := newMailedBench(t)
			link := bench.Mailto(words.In(loops.English), says, b.token(t, says))
			subject := "Re: " + subjectOf(t, link)
			done := b.receive(t, written(subject, tc.body, "Content-Type: text/plain; charset=utf-8"))
			assert.Equal(t, workshop.MailAnswered, done.Outcome, done.Why)
			all := b.answers(t)
			require.Len(t, all, 1)
			assert.Equal(t, tc.kind, all[0].Answer.Answer)
			assert.Equal(t, tc.words, all[0].Answer.Words)
			if tc.days > 0 {
				assert.Equal(t, all[0].Day.AddDays(tc.days), all[0].Answer.On)
			}
			assert.Equal(t, "owner", all[0].By)
			_, receipt := b.latest(t, loops.PurposeReceipt)
			assert.NotEmpty(t, receipt.Subject, "the owner is told what we understood")

			// The same words in another mail on the same day say nothing new, the same
			// mail is dealt with once, wherever it lies.
			again := written(subject, tc.body, "Content-Type: text/plain; charset=utf-8", "Message-ID: <2@garden.example>")
			assert.Equal(t, "it says nothing new", b.receive(t, again).Why)
			for _, place := range []loops.MailPlace{{Mailbox: "bench INBOX", Validity: 1, UID: 2}, {Mailbox: "bench INBOX", Validity: 9, UID: 1}} {
				once, err := b.receiveAs(t, again, place)
				require.NoError(t, err)
				assert.Equal(t, workshop.MailKnown, once.Outcome)
			}
			assert.Len(t, b.answers(t), 1)
		})
	}
}

func subjectOf(t *testing.T, link string) string {
	t.Helper()
	u, err := url.Parse(link)
	require.NoError(t, err)
	return u.Query().Get("subject")
}

// Stop is honoured whatever else the mail says, also where the reader's mail
// system asks in their name; it binds the address.
func TestMailStops(t *testing.T) {
	t.Parallel()
	for name, fields := range map[string][]string{
		"by the reader": nil, "by their mail system": {"Auto-Submitted: auto-generated", "From: unsubscribe@provider.example"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newMailedBench(t)
			done := b.receive(t, written("unsubscribe fm-"+b.token(t, links.SaysStop), "I never want to hear from you.", fields...))
			assert.Equal(t, workshop.MailStopped, done.Outcome, done.Why)
			owner, err := b.store.Owner(1)
			require.NoError(t, err)
			assert.False(t, owner.MailStopped.IsZero())
			assert.Equal(t, workshop.MailStopped, b.receive(t, written("again fm-"+b.token(t, links.SaysStop), "")).Outcome)
		})
	}
}

// What leaves doubt is on the list of calls with its words and the reason, and
// settles nothing.
func TestUnclearMailIsForAPerson(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		mail func(t *testing.T, b *mailedBench) []byte
		why  string
	}{
		"more words than its button": {func(t *testing.T, b *mailedBench) []byte {
			return written("fm-"+b.token(t, links.SaysFine), "I looked, and all is fine.\r\nBut there are drops \x1b[31m<b>here</b>.\r\n")
		}, "it says more than its button"},
		"a pause with a wish": {func(t *testing.T, b *mailedBench) []byte {
			return written("fm-"+b.token(t, links.SaysPause), "Only until March please")
		}, "it says more than its button"},
		"where they moved to": {func(t *testing.T, b *mailedBench) []byte {
			return written("fm-"+b.token(t, links.SaysMoved), "I have moved\r\nto 3 Quay Row\r\n")
		}, "it says more than its button"},
		"a picture beside all is fine": {func(t *testing.T, b *mailedBench) []byte {
			return withPhotos("fm-"+b.token(t, links.SaysFine), "", picture(t, 8))
		}, "a picture came with it"},
		"past its day": {func(t *testing.T, b *mailedBench) []byte {
			b.now = b.now.AddDate(0, 0, 31)
			token := b.token(t, links.SaysFine)
			b.now = b.now.AddDate(0, 0, 31)
			return written("fm-"+token, "")
		}, "not valid any more"},
		"links ended": {func(t *testing.T, b *mailedBench) []byte {
			token := b.token(t, links.SaysFine)
			_, err := b.EndLinks(at("2026-05-02 10"), 1)
			require.NoError(t, err)
			return written("fm-"+token, "All is well here.")
		}, "was ended"},
		"a saying that nobody knows": {func(t *testing.T, b *mailedBench) []byte {
			return written("fm-"+b.token(t, 'z'), "")
		}, "none that is known"},
		"a plain answer to our letter": {func(t *testing.T, b *mailedBench) []byte {
			m, _ := b.latest(t, loops.PurposeReminder)
			return written("Re: "+m.Subject, "Looks fine to me\r\n> quoted", "In-Reply-To: "+letterID(t, m.Raw))
		}, "no mark of ours"},
		"a forged mark below our letter": {func(t *testing.T, b *mailedBench) []byte {
			m, _ := b.latest(t, loops.PurposeReminder)
			return written("fm-"+strings.Repeat("a", 32), "fine", "References: <x@y.example> "+letterID(t, m.Raw), "From: mallory@elsewhere.example")
		}, "none of ours"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newMailedBench(t)
			done := b.receive(t, tc.mail(t, b))
			assert.Equal(t, workshop.MailUnclear, done.Outcome, done.Why)
			assert.Contains(t, done.Why, tc.why)
			all := b.answers(t)
			require.Len(t, all, 1)
			assert.Equal(t, loops.Unclear, all[0].Answer.Answer)
			assert.Contains(t, all[0].Note, tc.why)
			assert.Empty(t, all[0].Answer.Tasks, "it settles nothing")
			assert.NotContains(t, all[0].Answer.Words, "\x1b")
			for _, m := range b.messages(t) {
				assert.NotEqual(t, loops.PurposeReceipt, m.Purpose, "nobody is told that we understood")
			}
			due, err := b.Due(b.now.AddDate(0, 0, 1))
			require.NoError(t, err)
			require.NotEmpty(t, due.Call)
			assert.Contains(t, due.Call[0].Why, "unclear reply")
			_, err = b.MailMorning(workshop.Stamp{At: b.now.AddDate(0, 0, 1), By: "schedule"})
			require.NoError(t, err)
			_, morning := b.latest(t, loops.PurposeMorning)
			assert.Contains(t, squeeze(morning.Text), tc.why, "the technician reads why")
		})
	}
}

func letterID(t *testing.T, raw []byte) string {
	t.Helper()
	_, rest, ok := strings.Cut(string(raw), "Message-ID: ")
	require.True(t, ok)
	id, _, _ := strings.Cut(rest, "\r\n")
	return id
}

// Nothing that a machine sent, that came from us or that is no reply to us goes
// on record, whatever mark it carries.
func TestMailLoopsAreNoAnswers(t *testing.T) {
	t.Parallel()
	b := newMailedBench(t)
	m, _ := b.latest(t, loops.PurposeReminder)
	token := "fm-" + b.token(t, links.SaysFine)
	for name, raw := range map[string][]byte{
		"away":              written(token, "I am away", "Auto-Submitted: auto-replied"),
		"away, of old":      written(token, "I am away", "Precedence: auto_reply"),
		"made by a machine": written(token, "", "Auto-Submitted: auto-generated; owner-email=x"),
		"a list":            written(token, "", "List-Id: <all.garden.example>"),
		"no sender":         written(token, "", "Return-Path: <>"),
		"a report":          written(token, "--b\r\nContent-Type: text/plain\r\n\r\nx\r\n--b--\r\n", `Content-Type: multipart/report; report-type=delivery-status; boundary="b"`),
		"ours":              written(token, "", "From: Bench <BENCH@test.example>"),
		"our own letter":    m.Raw,
		"somebody else":     written("Invoice", "Please pay.", "In-Reply-To: <other@test.example>"),
		"away, to ours":     written("Re: x", "I am away", "Auto-Submitted: auto-replied", "In-Reply-To: "+letterID(t, m.Raw)),
		"an unknown mark":   written("fm-"+strings.Repeat("b", 40), "x"),
	} {
		done := b.receive(t, raw)
		assert.Equal(t, workshop.MailLeft, done.Outcome, name)
		assert.NotEmpty(t, done.Why, name)
	}
	assert.Empty(t, b.answers(t))
	place, err := b.LastMail("bench INBOX")
	require.NoError(t, err)
	assert.Equal(t, b.uid, place.UID, "what was left is not read again")
}

// No owner fills the register by mail.
func TestMailsADayAreBounded(t *testing.T) {
	t.Parallel()
	b := newMailedBench(t)
	for n := range 30 {
		b.receive(t, written("fm-"+b.token(t, links.SaysOff), fmt.Sprintf("noise %d", n)))
	}
	assert.Len(t, b.answers(t), 20)
}

// picture is a JPEG of so many pixels a side.
func picture(t *testing.T, side int) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, side, side))
	img.SetGray(1, 1, color.Gray{Y: 200})
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, img, nil))
	return b.Bytes()
}

// withPhotos is a mail with pictures, as a telephone sends it.
func withPhotos(subject, words string, pictures ...[]byte) []byte {
	var body strings.Builder
	body.WriteString("--outer\r\nContent-Type: multipart/alternative; boundary=inner\r\n\r\n--inner\r\nContent-Type: text/plain; charset=iso-8859-1\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n" +
		words + "\r\n--inner\r\nContent-Type: text/html\r\n\r\n<p> </p>\r\n--inner--\r\n")
	for n, p := range pictures {
		fmt.Fprintf(&body, "--outer\r\nContent-Type: image/jpeg; name=\"p%d.jpg\"\r\nContent-Disposition: attachment\r\nContent-Transfer-Encoding: base64\r\n\r\n%s\r\n", n, base64.StdEncoding.EncodeToString(p))
	}
	return written(subject, body.String()+"--outer--\r\n", "Content-Type: multipart/mixed; boundary=outer")
}

// A photo comes in through the same door as on the page; one that is none loses
// no word.
func TestPhotoByMail(t *testing.T) {
	t.Parallel()
	b := newMailedBench(t)
	settings := b.Settings()
	settings.Photos = photos.Folder(t.TempDir())
	b.Workshop = workshop.New(b.store, settings, nil, keys(t, 1))
	token := "fm-" + b.token(t, links.SaysOff)
	assert.Equal(t, workshop.MailAnswered, b.receive(t, withPhotos(token, "Tr=F6pfchen am Schlauch", picture(t, 64), picture(t, 32))).Outcome)
	assert.Equal(t, workshop.MailAnswered, b.receive(t, withPhotos(token, "another", []byte("no picture"))).Outcome)
	all := b.answers(t)
	require.Len(t, all, 2)
	assert.Equal(t, "Tröpfchen am Schlauch", all[0].Answer.Words, "in the letters of its charset")
	assert.Contains(t, all[0].Note, "1 more pictures")
	require.NotEmpty(t, all[0].Answer.Photo)
	_, err := b.Photo(all[0].Answer.Photo, photos.Small)
	require.NoError(t, err)
	assert.Empty(t, all[1].Answer.Photo)
	assert.Contains(t, all[1].Note, "was not taken")
}
