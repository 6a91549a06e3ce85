// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/png"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// canaries are texts that stand nowhere else.
type canaries struct {
	testing.TB
	h    *Service
	k    keeper
	all  []string
	loop map[string]loops.Loop
}

// sing is a new canary: what the owner said.
func (c *canaries) sing() string {
	c.all = append(c.all, fmt.Sprintf("canary %d of quince", len(c.all)))
	return c.all[len(c.all)-1]
}

// about is a new canary in which the owner is named.
func (c *canaries) about(name string) string { return c.sing() + ", " + name + "'s" }

func newCanaries(t testing.TB) *canaries {
	t.Helper()
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(t.TempDir(), "register.db")
	c.Mail.Technician = "bench@workshop.example"
	c.Backup.KeptDays = 90
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, h.Close()) })
	return &canaries{TB: t, h: h, k: h.keeper, loop: map[string]loops.Loop{}}
}

// owner puts an owner on record with a machine and a loop in it.
func (c *canaries) owner(o loops.Owner, m loops.Machine, loopName string) loops.Owner {
	c.Helper()
	s := workshop.Stamp{At: testNow().UTC().AddDate(0, -6, 0), By: "local:test"}
	kept, err := c.h.Workshop.AddOwner(s, o)
	require.NoError(c, err)
	m.Owner, m.Kind = kept.ID, loops.Desktop
	machine, err := c.h.Workshop.AddMachine(s, m)
	require.NoError(c, err)
	c.loop[o.Name], err = c.h.Workshop.AddLoop(s, loops.Loop{Machine: machine.ID, Name: loopName, Construction: loops.Construction{Volume: 0.5}})
	require.NoError(c, err)
	return kept
}

// photo keeps a picture of one tone, and returns its hash.
func (c *canaries) photo(tone uint8) string {
	c.Helper()
	var file bytes.Buffer
	require.NoError(c, png.Encode(&file, &image.Gray{Pix: bytes.Repeat([]byte{tone}, 400), Stride: 20, Rect: image.Rect(0, 0, 20, 20)}))
	kept, err := c.h.Workshop.KeepPhoto("a.png", &file)
	require.NoError(c, err)
	return kept.Hash
}

// writes puts entries into a loop's history as they are.
func (c *canaries) writes(name string, entries ...loops.Entry) {
	c.Helper()
	l, err := c.h.Store.Loop(c.loop[name].ID)
	require.NoError(c, err)
	m, err := c.h.Store.Machine(l.Machine)
	require.NoError(c, err)
	history, err := c.h.Store.History(l.ID)
	require.NoError(c, err)
	change := loops.Change{At: testNow().UTC(), By: "local:test", Action: "test"}
	for i, e := range entries {
		l.LastEntry++
		e.ID, e.Loop, e.By, e.Recorded = l.LastEntry, l.ID, "local:test", testNow().UTC().Add(time.Duration(i)*time.Second)
		e.Day = loops.DayOf(testNow(), time.UTC).AddDays(-60)
		require.NoError(c, e.Validate(), e.Kind)
		change.Entries, history = append(change.Entries, e), append(history, e)
		if e.Kind == loops.KindTransfer {
			m.Owner = e.Transfer.To
			change.Machines = []loops.Machine{m}
		}
	}
	l.State = loops.Fold(history)
	change.Loops = []loops.Loop{l}
	require.NoError(c, c.h.Store.Commit(change))
}

// everyWord is an entry of each kind that takes words.
func (c *canaries) everyWord() []loops.Entry {
	day := loops.DayOf(testNow(), time.UTC).AddDays(-90)
	overruled := &loops.Judged{Verdict: chemistry.Care, AlreadyDone: true, Overruled: []loops.Overrule{{Rule: "frost", Why: c.sing()}}}
	charge := loops.Charge{Fluid: chemistry.PropyleneGlycol, Volume: 0.5, Origin: loops.WorkshopFill, FilledFrom: day, FilledTo: day}
	return []loops.Entry{
		{Kind: loops.KindIntake, Note: c.sing(), Intake: &loops.Intake{Complaint: c.sing()}},
		{Kind: loops.KindFill, Note: c.sing(), Judged: overruled, Fill: &loops.Fill{Charge: charge}},
		{Kind: loops.KindSetting, Note: c.sing(), Setting: &loops.Setting{Task: loops.Look, IntervalMonths: 4, Why: c.sing()}},
		{Kind: loops.KindFlush, Note: c.sing()},
		{Kind: loops.KindClean, Note: c.sing()},
		{Kind: loops.KindLeakCheck, Note: c.sing(), LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}},
		{Kind: loops.KindHandover, Note: c.sing(), Handover: &loops.Handover{Unproved: c.sing()}},
		{Kind: loops.KindAnswer, Note: c.sing(), Answer: &loops.Answer{Answer: loops.SomethingOff, Words: c.sing()}},
		{Kind: loops.KindNote, Note: c.sing()},
		{Kind: loops.KindReturn, Note: c.sing(), Return: &loops.Return{Why: c.sing()}},
		{Kind: loops.KindSwap, Note: c.sing(), Swap: &loops.Swap{OldUnit: loops.OldUnitKept, Why: c.sing()}},
		{Kind: loops.KindWork, Note: c.sing(), Work: &loops.Work{Item: c.sing(), Minutes: 5}},
		{Kind: loops.KindRetirement, Note: c.sing(), Retirement: &loops.Retirement{Reason: loops.RetirementReasons()[0]}},
	}
}

// plant fills a register with an owner whom the workshop knows in every way
// there is, two others, and machines that went between them.
func (c *canaries) plant() (ana, bo loops.Owner) {
	c.Helper()
	ana = c.owner(loops.Owner{
		Name: "Ana " + c.sing(), Email: "former@garden.example", Phone: "+351 555 0142 77", Address: c.sing() + "\n" + c.sing(), Zone: "Europe/Lisbon",
		Consent: loops.Consent{Mail: true},
	}, loops.Machine{Name: c.sing(), Accessories: []string{c.sing(), c.sing()}, WarrantyNote: c.sing()}, "Ana's left one")
	c.all = append(c.all, "former@garden.example", "now@garden.example", "555 0142 77", "Ana's left one", "Ana "+c.all[0])
	bo = c.owner(loops.Owner{Name: "Bo Lindgrenn", Email: "bo@pond.example", Zone: "Europe/Lisbon"}, loops.Machine{Name: "Bo's black box"}, "")
	cy := c.owner(loops.Owner{Name: "Cy Umber", Email: "cy@hill.example"}, loops.Machine{Name: "Cy's rig"}, "")

	c.writes(ana.Name, c.everyWord()...)
	// Cy's machine was Ana's for a while and is Bo's now.
	c.writes(cy.Name, loops.Entry{Kind: loops.KindNote, Note: "Cy's own words"}, loops.Entry{Kind: loops.KindTransfer, Note: c.sing(), Transfer: &loops.Transfer{From: cy.ID, To: ana.ID}})
	c.writes(cy.Name, c.everyWord()...)
	c.writes(cy.Name, loops.Entry{Kind: loops.KindTransfer, Note: c.sing(), Transfer: &loops.Transfer{From: ana.ID, To: bo.ID}},
		loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "Bo's words: since Ana had it it ticks"}})
	c.all = append(c.all, "since Ana had it")

	s := workshop.Stamp{At: testNow().UTC(), By: "local:test"}
	c.mails(ana, "former@garden.example")
	c.all = append(c.all, "U3ViamVjdDog") // "Subject: " in base64, of the bodies in the file
	require.NoError(c, c.h.Store.Suppress(loops.Suppression{Address: "former@garden.example", Reason: "5.1.1 " + c.sing(), Since: s.At}, s.By))
	was, err := c.h.Store.Owner(ana.ID)
	require.NoError(c, err)
	was.Email = "now@garden.example"
	_, err = c.h.Workshop.Edit(s, workshop.Edit{Owner: &was})
	require.NoError(c, err)
	c.mails(ana, "now@garden.example")
	c.aboutAna(s, ana)
	return ana, bo
}

// mails puts a delivered mail, one that waits, and morning lists into register
// and Maildir.
func (c *canaries) mails(to loops.Owner, address string) {
	c.Helper()
	day := loops.DayOf(testNow(), time.UTC)
	for i, purpose := range []loops.Purpose{loops.PurposeReminder, loops.PurposeReceipt, loops.PurposeMorning, loops.PurposeMorning} {
		key := loops.NewMessageKey(to.ID, day, purpose, strings.Split(address, "@")[0])
		status, owner, address := loops.Queued, to.ID, address
		if purpose == loops.PurposeMorning {
			key, owner, address = loops.NewMessageKey(0, day.AddDays(i), purpose, strings.Split(address, "@")[0]), 0, c.k.config.Mail.Technician
		}
		if i%2 == 0 {
			status = loops.Delivered
		}
		raw := []byte("Date: Thu, 03 Dec 2026 12:00:00 +0000\r\nMessage-ID: " + notify.MessageIDFor("", key, c.k.config.MailDomain()) + "\r\nTo: " + address +
			"\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n" + strings.ReplaceAll(c.about(to.Name), "quince", "qu=\r\nince") + "\r\n")
		require.NoError(c, c.h.Store.Commit(loops.Change{At: testNow().UTC(), By: "schedule", Action: "test", Messages: []loops.Message{{
			Key: key, Owner: owner, Purpose: purpose, From: c.k.config.Mail.From, To: address, Subject: c.about(to.Name), Raw: raw, Status: status,
			Created: testNow().UTC(), NextAttempt: testNow().UTC(), PointlessAfter: testNow().UTC().AddDate(0, 0, 9), LastError: "refused " + address,
		}}}))
		require.NoError(c, c.k.mailbox().Send(c.Context(), notify.Envelope{}, raw))
	}
}

// aboutAna names the owner in what others wrote, on the shelf and elsewhere.
func (c *canaries) aboutAna(s workshop.Stamp, ana loops.Owner) {
	c.Helper()
	named := "kept for " + ana.Name + ", now@garden.example"
	c.all = append(c.all, "kept for Ana")
	day := loops.DayOf(s.At, time.UTC)
	require.NoError(c, c.h.Store.Commit(loops.Change{At: s.At, By: s.By, Action: "test", Shelf: loops.Shelf{
		Containers:  []loops.Container{{ID: 1, Kind: loops.WaterContainer, Product: "water", Fluid: chemistry.PropyleneGlycol, Left: 1, Note: named}},
		UsedFluid:   []loops.UsedFluid{{ID: 1, Recorded: s.At, Day: day, By: s.By, Fluid: chemistry.PropyleneGlycol, Volume: 0.1, Hazard: named, Went: named}},
		Instruments: []loops.Instrument{{ID: 1, Kind: loops.PHMeter, Name: named}},
		Samples:     []loops.RetainedSample{{ID: 1, Loop: c.loop["Bo Lindgrenn"].ID, Taken: day, Place: named, Note: named}, {ID: 2, Loop: c.loop[ana.Name].ID, Taken: day, Place: "shelf", Note: c.sing()}},
	}}))
	_, err := c.h.Store.AddWatch(loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=copper", Registered: day, By: s.By, Why: named}, s.At)
	require.NoError(c, err)
	c.writes("Bo Lindgrenn", loops.Entry{Kind: loops.KindNote, Note: named}, loops.Entry{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: loops.CauseClog, Words: named}})
}

// left lists where any canary is still: in the files beside the register as they
// stand, and in mail as its reader sees it.
func (c *canaries) left() []string {
	c.Helper()
	var left []string
	err := filepath.WalkDir(filepath.Dir(c.k.config.Store), func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		texts := append(notify.Texts(content), string(content))
		for _, canary := range c.all {
			for _, text := range texts {
				if strings.Contains(strings.ReplaceAll(text, "=\r\n", ""), canary) {
					left = append(left, filepath.Base(path)+": "+canary)
					break
				}
			}
		}
		return err
	})
	require.NoError(c, err)
	return left
}

// Everything personal that the register ever held of somebody is gone, wherever
// it stood, and the certificate says so.
func TestErasureIsProved(t *testing.T) {
	t.Parallel()
	c := newCanaries(t)
	ana, bo := c.plant()
	require.Greater(t, len(c.all), 50)
	require.Greater(t, len(c.left()), 50, "they were there")

	proof, err := c.k.EraseOwner(t.Context(), ana.ID, "local:test", testNow().UTC(), true)
	require.NoError(t, err)
	assert.Empty(t, c.left())
	assert.Empty(t, proof.Left)
	assert.True(t, proof.Clear)
	for _, place := range []string{"the workshop's own mailbox", "technicians' phones"} {
		assert.Contains(t, strings.Join(proof.Elsewhere, "; "), place)
	}
	texts := 0
	for _, n := range proof.Texts {
		texts += n
	}
	assert.Greater(t, texts, 35, "%v", proof.Texts)
	assert.Equal(t, 1, proof.Texts["answer: words"]/2, "of two histories")
	assert.Equal(t, 1, proof.Shared, "the zone is another owner's too")
	require.Len(t, proof.Searched, 4)
	for _, s := range proof.Searched[:2] {
		assert.Greater(t, s.Count, int64(100), s.Place)
	}

	report, err := c.h.Store.Check(t.Context())
	require.NoError(t, err)
	assert.True(t, report.OK(), "%v", report.Problems)
	kept, err := c.h.Store.Owner(bo.ID)
	require.NoError(t, err)
	assert.Equal(t, "Bo Lindgrenn", kept.Name)
	history, err := c.h.Store.History(c.loop["Cy Umber"].ID)
	require.NoError(t, err)
	assert.Equal(t, "Cy's own words", history[0].Note)
	assert.Equal(t, "Bo's words: since - had it it ticks", history[len(history)-1].Intake.Complaint)
	container, err := c.h.Store.Container(1)
	require.NoError(t, err)
	assert.Equal(t, "kept for erased, erased", container.Note)
}

// anaWithPhoto is all that is planted of Ana, and a photo that she sent.
func anaWithPhoto(t *testing.T) (c *canaries, ana loops.Owner, photo string) {
	t.Helper()
	c = newCanaries(t)
	ana, _ = c.plant()
	photo = c.photo(30)
	c.writes(ana.Name, loops.Entry{Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.SomethingOff, Photo: photo}})
	return c, ana, photo
}

// Who asked may have gone before it is done: it is done all the same, photos and old
// pages of the file too.
func TestErasureIsDoneToItsEnd(t *testing.T) {
	t.Parallel()
	c, ana, photo := anaWithPhoto(t)
	ctx, leave := context.WithCancel(t.Context())
	leave()
	_, err := c.k.EraseOwner(ctx, ana.ID, "local:test", testNow().UTC(), false)
	require.NoError(t, err)
	assert.Empty(t, c.left())
	assert.False(t, c.k.photos().Has(photo))
}

// What an erasure left that was cut off, such as by a kill, no later certificate
// calls clear; the photos go by themselves, once no form can be about to name them.
func TestErasureThatWasCutOff(t *testing.T) {
	t.Parallel()
	c, ana, photo := anaWithPhoto(t)
	require.NoError(t, c.h.Store.EraseOwner(ana.ID, "local:test", testNow().UTC(), acts.Erasing()))
	proof, err := c.k.EraseOwner(t.Context(), ana.ID, "local:test", testNow().UTC(), true)
	require.NoError(t, err)
	assert.False(t, proof.Clear)
	require.Len(t, proof.Left, 1)
	assert.Equal(t, "photo "+photo[:8], proof.Left[0].Place)
	assert.Contains(t, proof.Left[0].How, "fillmark compact")

	for _, ending := range []string{".jpg", "-small.jpg"} {
		require.NoError(t, os.Chtimes(filepath.Join(string(c.k.photos()), photo+ending), testNow(), testNow()))
	}
	at := func(days int) time.Time { return testNow().AddDate(0, 0, days) }
	require.NoError(t, c.h.forget(at(6)))
	assert.True(t, c.k.photos().Has(photo), "a phone may have the form still")
	c.k.making.Lock()
	require.NoError(t, c.h.forget(at(8)))
	assert.True(t, c.k.photos().Has(photo), "a backup copies it")
	c.k.making.Unlock()
	require.NoError(t, c.h.forget(at(8)))
	assert.False(t, c.k.photos().Has(photo))
	proof, err = c.k.EraseOwner(t.Context(), ana.ID, "local:test", testNow().UTC(), true)
	require.NoError(t, err)
	assert.True(t, proof.Clear)
}

// No backup is made while somebody is erased: it would be on no certificate, and
// lack photos that its register names.
func TestErasureWaitsForABackup(t *testing.T) {
	t.Parallel()
	c := newCanaries(t)
	ana, _ := c.plant()
	c.k.making.Lock()
	erased := make(chan error, 1)
	go func() {
		_, err := c.k.EraseOwner(t.Context(), ana.ID, "local:test", testNow().UTC(), true)
		erased <- err
	}()
	assert.Never(t, func() bool {
		o, err := c.h.Store.Owner(ana.ID)
		return err != nil || o.IsErased()
	}, 500*time.Millisecond, 20*time.Millisecond)
	c.k.making.Unlock()
	require.NoError(t, <-erased)
	assert.Empty(t, c.left())
}

// What is left is named with how it goes: the proof can fail.
func TestErasureFindsWhatIsLeft(t *testing.T) {
	t.Parallel()
	c := newCanaries(t)
	rose := c.owner(loops.Owner{Name: "Rosenrot", Email: "rose@garden.example"}, loops.Machine{Name: "the humming heron"}, "")
	bo := c.owner(loops.Owner{Name: "Bo Lindgrenn"}, loops.Machine{Name: "Bo's black box"}, "")
	c.writes(bo.Name, loops.Entry{Kind: loops.KindNote, Note: "like the humming heron"}, loops.Entry{Kind: loops.KindNote, Note: "stood beside Rosenrot's"})
	s := workshop.Stamp{At: testNow().UTC(), By: "local:test"}
	require.NoError(t, c.h.Store.Commit(loops.Change{At: s.At, By: s.By, Action: "test", Shelf: loops.Shelf{
		Containers: []loops.Container{{ID: 1, Kind: loops.WaterContainer, Product: "water", Fluid: chemistry.PropyleneGlycol, Left: 1, Note: "for Rosenrot"}},
	}}))
	stray := filepath.Join(c.k.config.maildir(), "cur", "stray")
	require.NoError(t, os.MkdirAll(filepath.Dir(stray), 0o700))
	require.NoError(t, os.WriteFile(stray, []byte("Subject: =?utf-8?q?Rose=6Erot?=\r\n\r\nrose@garden.example"), 0o600))
	folder := filepath.Join(t.TempDir(), "copy")
	require.NoError(t, c.k.Backup(t.Context(), folder, s.By, s.At.AddDate(0, 0, -1)))
	for days, name := range map[int]string{-200: "/gone/long/ago", -10: "/on/a/stick"} {
		require.NoError(t, c.h.Store.Note(loops.AuditLine{At: s.At.AddDate(0, 0, days), By: s.By, Action: "backup", On: name}))
	}

	proof, err := c.k.EraseOwner(t.Context(), rose.ID, s.By, s.At, true)
	require.NoError(t, err)
	assert.False(t, proof.Clear)
	tag := string(c.loop[bo.Name].Tag)
	var left []string
	for _, l := range proof.Left {
		left = append(left, l.Place+": "+l.Field)
		assert.NotEmpty(t, l.How)
		assert.NotContains(t, fmt.Sprint(l), "osenrot", "the certificate can be kept")
	}
	assert.ElementsMatch(t, []string{"loop " + tag + ", entry 1: machine: name", "loop " + tag + ", entry 2: owner: name", "container 1: owner: name",
		stray + ": owner: name", stray + ": owner: mail"}, left)
	day := loops.DayOf(s.At, time.UTC)
	assert.Equal(t, []web.ErasableBackup{
		{Folder: folder, Made: day.AddDays(-1), There: true, Gone: day.AddDays(89)},
		{Folder: "/on/a/stick", Made: day.AddDays(-10), Gone: day.AddDays(80)},
	}, sortedByMade(proof.Backups))
}

// sortedByMade puts the newest first.
func sortedByMade(of []web.ErasableBackup) []web.ErasableBackup {
	slices.SortFunc(of, func(a, b web.ErasableBackup) int { return strings.Compare(b.Made.String(), a.Made.String()) })
	return of
}
