// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/notify/words"
	"fillmark/schedule"
	"fillmark/testdata/seeded"
)

// oneWaiting is a register in which a reminder of a look waits, written on the
// day it is due: a file to copy, the loop, and the instant.
func oneWaiting(t *testing.T) (path string, loop loops.Loop, start time.Time) {
	t.Helper()
	return letterWaiting(t, loops.PurposeReminder)
}

// letterWaiting is the same with a letter of a purpose: that of the hand-over, the
// first reminder of the look, or the receipt of an answer to that.
func letterWaiting(t *testing.T, purpose loops.Purpose) (path string, loop loops.Loop, start time.Time) {
	t.Helper()
	b := newBench(t)
	loop = b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	_, err := b.AddOwner(at("2026-05-01 16"), loops.Owner{Name: "Bo Harbour", Email: "bo@quay.example", Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	start = at("2026-05-01 17").At
	if purpose != loops.PurposeHandover {
		b.delivered(t, start)
		look := workshop.NextTasks(loop.Plan)[0]
		require.Equal(t, loops.Look, look.Kind)
		start = look.Due.At(9, time.UTC)
		swept, err := b.Sweep(workshop.Stamp{At: start, By: "schedule"})
		require.NoError(t, err)
		require.Len(t, swept.Reminders, 1)
	}
	if purpose == loops.PurposeReceipt {
		b.delivered(t, start)
		start = start.Add(time.Hour)
		owner, err := b.store.Owner(1)
		require.NoError(t, err)
		_, err = b.Answer(workshop.Stamp{At: start, By: "owner"}, owner, loops.Answer{Answer: loops.SomethingOff, Words: "it gurgles"})
		require.NoError(t, err)
	}
	path = filepath.Join(t.TempDir(), "waiting.db")
	require.NoError(t, b.store.Backup(t.Context(), path))
	return path, loop, start
}

// copyOf opens a bench on a copy of a register. Closing it twice is no error.
func copyOf(t *testing.T, path string) bench {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	own := filepath.Join(t.TempDir(), "register.db")
	require.NoError(t, os.WriteFile(own, raw, 0o600))
	s, err := store.Open(own, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return bench{workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8, Policy: schedule.DefaultPolicy(),
	}, rand.Reader, keys(t, 1)), s}
}

// happens are the things that can happen while a letter waits: every act there
// is, and what is no act.
func happens(t *testing.T, loop loops.Loop) map[string]func(bench, workshop.Stamp) error {
	t.Helper()
	clean := *reading(100, 52)
	clean.Verdict = loops.Good
	entries := map[loops.EntryKind]loops.Entry{
		loops.KindIntake:     {Intake: &loops.Intake{Complaint: "it hums"}},
		loops.KindInspection: {Inspection: &clean},
		loops.KindOpening:    {Opening: &loops.Opening{Cause: loops.CauseClog}},
		loops.KindClean:      {Clean: &loops.Cleaning{}, Note: "wiped"},
		loops.KindFlush:      {},
		loops.KindFill:       {Fill: &loops.Fill{Charge: glycol()}},
		loops.KindTopUp:      {TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.01}}}},
		loops.KindDose:       {Dose: &loops.Dose{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 9}}},
		loops.KindDrain:      {Drain: &loops.Drain{Out: 0.45, Disposal: "drum"}},
		loops.KindLeakCheck:  {LeakCheck: &loops.LeakCheck{Hours: loops.LeakCheckHours, Dry: true}},
		loops.KindProof:      {Proof: &loops.Proof{Before: *reading(100, 92), After: clean}},
		loops.KindHandover:   givenBack(loops.Day{}, true),
		loops.KindReturn:     {Return: &loops.Return{Why: "no parts"}},
		loops.KindSwap:       {Swap: &loops.Swap{OldUnit: loops.OldUnitDiscarded, Sealed: new(true)}},
		loops.KindTransfer:   {Transfer: &loops.Transfer{To: 2}},
		loops.KindRetirement: {Retirement: &loops.Retirement{Reason: loops.Scrapped}},
		loops.KindSetting:    {Setting: &loops.Setting{Task: loops.Look, Paused: true, Why: "abroad"}},
		loops.KindCorrection: {Correction: &loops.Correction{Strikes: 1, Why: "another loop"}},
		loops.KindStep:       {Step: &loops.StepDone{Step: loops.StepsFor(false)[0].ID}},
		loops.KindNote:       {Note: "the fan was dusty"},
		loops.KindWork:       {Work: &loops.Work{Item: "a new fan", Pieces: 1}},
		loops.KindCall:       {Call: &loops.OwnerCall{Outcome: loops.Reached}},
		loops.KindWeighing:   {Weighing: &loops.Weighing{Stage: loops.WeighedLater, Weight: 1.2}},
	}
	all := map[string]func(bench, workshop.Stamp) error{"nothing": func(bench, workshop.Stamp) error { return nil }}
	for _, d := range acts.All() {
		e, ok := entries[d.Kind]
		require.True(t, ok, "the act %s: say what it does to a letter that waits", d.Name)
		e.Kind = d.Kind
		all[d.Name] = func(b bench, s workshop.Stamp) error {
			e := e
			if e.Call != nil {
				e.Call = &loops.OwnerCall{Outcome: e.Call.Outcome, Agreed: loops.DayOf(s.At, time.UTC).AddDays(10)}
			}
			_, err := b.Do(s, loop.Tag, already(e))
			return err
		}
	}
	edited := func(change func(*loops.Owner)) func(bench, workshop.Stamp) error {
		return func(b bench, s workshop.Stamp) error {
			owner, err := b.store.Owner(1)
			if err != nil {
				return err
			}
			change(&owner)
			_, err = b.Edit(s, workshop.Edit{Owner: &owner})
			return err
		}
	}
	all["consent withdrawn"] = edited(func(o *loops.Owner) { o.Consent.Mail = false })
	all["address corrected"] = edited(func(o *loops.Owner) { o.Email = "ana@right.example" })
	all["address taken out"] = edited(func(o *loops.Owner) { o.Email = "" })
	all["name corrected"] = edited(func(o *loops.Owner) { o.Name = "Anna Ruizado" })
	all["machine renamed"] = func(b bench, s workshop.Stamp) error {
		machine, err := b.store.Machine(loop.Machine)
		if err != nil {
			return err
		}
		machine.Name = "the black tower"
		_, err = b.Edit(s, workshop.Edit{Machine: &machine})
		return err
	}
	all["loop edited"] = func(b bench, s workshop.Stamp) error {
		is, err := b.store.Loop(loop.ID)
		if err != nil {
			return err
		}
		is.Sealed = !is.Sealed
		_, err = b.Edit(s, workshop.Edit{Loop: &is})
		return err
	}
	all["owner erased"] = func(b bench, s workshop.Stamp) error {
		erasing := acts.Erasing()
		erasing.Naming, erasing.Parts = loops.NewPhrases([]string{"Ana Ruizado", "ana@garden.example"}), loops.NewPhrases([]string{"Ruizado"})
		return b.store.EraseOwner(1, s.By, s.At, erasing)
	}
	all["stopped"] = func(b bench, s workshop.Stamp) error { _, err := b.SetMail(s, 1, true); return err }
	all["not me"] = func(b bench, s workshop.Stamp) error { return b.NotMe(s, 1) }
	all["links ended"] = func(b bench, s workshop.Stamp) error { _, err := b.EndLinks(s, 1); return err }
	all["given up"] = func(b bench, s workshop.Stamp) error {
		return b.store.Suppress(loops.Suppression{Address: "ana@garden.example", Status: "5.1.1", Since: s.At}, "test")
	}
	answered := func(answer loops.Answer, on int) func(bench, workshop.Stamp) error {
		return func(b bench, s workshop.Stamp) error {
			owner, err := b.store.Owner(1)
			if err != nil {
				return err
			}
			answer := answer // each letter has its own: they wait side by side
			if on > 0 {
				answer.On = b.DayOf(owner, s.At).AddDays(on)
			}
			_, err = b.Answer(s, owner, answer)
			return err
		}
	}
	for _, kind := range loops.AnswerKinds() {
		on := 0
		if kind == loops.ProposeDay {
			on = 5
		}
		all["answered "+string(kind)] = answered(loops.Answer{Answer: kind}, on)
	}
	all["answered in two weeks"] = answered(loops.Answer{Answer: loops.Pause}, 14)
	return all
}

var labelInLetter = regexp.MustCompile(`The label on it reads\s+([0-9A-Z]+)`)
var linkInLetter = regexp.MustCompile(`https://loops\.test\.example/(o|stop)/([A-Za-z0-9_-]+)`)

// contradictions says what in a mail is not so by the register, read apart from
// what wrote it: whom it went to, whose machines it names, what is in them,
// whether its links open.
func contradictions(t require.TestingT, b bench, mail arrived, now time.Time) []string {
	preview, err := notify.ReadPreview([]byte(mail.raw))
	require.NoError(t, err)
	text := strings.Join(strings.Fields(preview.Text), " ")
	var wrong []string
	var owner loops.Owner
	for o, err := range b.store.Owners() {
		require.NoError(t, err)
		if o.Email == mail.to {
			owner = o
		}
	}
	if owner.ID == 0 {
		return []string{"nobody has the address " + mail.to}
	}
	if !owner.MailStopped.IsZero() || !owner.Consent.Mail {
		wrong = append(wrong, "the owner is not to be mailed")
	}
	if !strings.Contains(text, "Good day "+owner.Name+",") {
		wrong = append(wrong, "it does not greet "+owner.Name)
	}
	for _, link := range linkInLetter.FindAllStringSubmatch(text, -1) {
		purpose := links.Owner
		if link[1] == "stop" {
			purpose = links.Stop
		}
		if whose, err := b.OwnerOf(purpose, link[2], now); err != nil || whose.ID != owner.ID {
			wrong = append(wrong, "a link does not open")
		}
	}
	reminder, arrived := isReminder(text), 0
	if reminder && !strings.Contains(text, machineOf(t, b, owner)) {
		wrong = append(wrong, "it names no machine of theirs")
	}
	for _, label := range labelInLetter.FindAllStringSubmatch(text, -1) {
		loop, err := b.store.LoopByTag(loops.Tag(label[1]))
		require.NoError(t, err)
		machine, err := b.store.Machine(loop.Machine)
		require.NoError(t, err)
		if machine.Owner != owner.ID {
			wrong = append(wrong, "the machine is somebody else's")
		}
		charge := loop.State.Charge
		if charge == nil {
			if reminder {
				wrong = append(wrong, "nothing is in "+label[1])
			}
			continue
		}
		if !strings.Contains(text, notify.ChargeInWords(words.In(loops.English), *charge)) {
			wrong = append(wrong, "it does not say what is in "+label[1])
		}
		if !reminder {
			continue
		}
		said := false
		today := b.DayOf(owner, now)
		for _, task := range loop.Plan.Tasks {
			about, _ := loops.AboutTask(task.Kind)
			line := about.OwnerTitle + " by " + task.Due.Long()
			if !strings.Contains(text, line) {
				continue
			}
			said = true
			arrived = max(arrived, arrivedAbout(t, b, owner, loops.Topic{Loop: loop.ID, Task: task.Kind, Due: task.Due}, now))
			if _, done := schedule.AnsweredFor(b.Settings().Policy, loop, task); done || task.Paused {
				wrong = append(wrong, string(task.Kind)+" is answered or paused")
			}
			if days := task.Due.Sub(today); days > 0 && !strings.Contains(text, farInWords(days)) {
				wrong = append(wrong, "it does not say that the day is "+farInWords(days))
			}
		}
		if !said {
			wrong = append(wrong, "none of its tasks is in the plan")
		}
		if !loop.State.Asked.IsZero() {
			wrong = append(wrong, "the owner asked for a person")
		}
		if !loop.State.Agreed.Before(today) {
			wrong = append(wrong, "a day is agreed")
		}
		if loop.State.QuietUntil.After(today) {
			wrong = append(wrong, "the owner wants no reminder yet")
		}
	}
	for word, least := range map[string]int{"LATE": 1, "have not heard": 1, "LAST REMINDER": 2, "Last reminder": 2} {
		if reminder && arrived < least && strings.Contains(preview.Subject+" "+text, word) {
			wrong = append(wrong, fmt.Sprintf("it says %q, and %d arrived before", word, arrived))
		}
	}
	return wrong
}

func isReminder(text string) bool {
	return strings.Contains(strings.Join(strings.Fields(text), " "), "you agreed to reminders")
}

// machineOf is what the machine of an owner with one is called.
func machineOf(t require.TestingT, b bench, owner loops.Owner) string {
	machines, err := b.store.MachinesOf(owner.ID)
	require.NoError(t, err)
	if len(machines) == 0 {
		return "no machine is theirs"
	}
	return machines[0].Name
}

// arrivedAbout counts the reminders of the topic that the owner has had for three
// days, counted from the outbox and apart from what the letters are written by.
func arrivedAbout(t require.TestingT, b bench, owner loops.Owner, topic loops.Topic, now time.Time) (arrived int) {
	for m, err := range b.store.Messages(loops.Delivered) {
		require.NoError(t, err)
		about := slices.ContainsFunc(m.About, func(of loops.Topic) bool {
			return of.Loop == topic.Loop && of.Task == topic.Task && of.Due == topic.Due
		})
		if m.Owner == owner.ID && m.Purpose == loops.PurposeReminder && about && now.Sub(m.LastAttempt) >= 72*time.Hour {
			arrived++
		}
	}
	return arrived
}

// farInWords is how far away a day to come is said to be.
func farInWords(days int) string {
	if days == 1 {
		return "tomorrow"
	}
	return "in " + daysInWords(days)
}

func daysInWords(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// Every act and all else that happens, while a letter of each kind waits in every
// way that one can: what leaves then is true, and what may have left already leaves
// with the same bytes or not at all.
func TestWhatLeavesIsTrue(t *testing.T) {
	t.Parallel()
	for _, purpose := range []loops.Purpose{loops.PurposeReminder, loops.PurposeHandover, loops.PurposeReceipt} {
		path, loop, start := letterWaiting(t, purpose)
		for what, happen := range happens(t, loop) {
			states := []string{"new"}
			switch {
			case seeded.Long() || purpose == loops.PurposeReminder && slices.Contains([]string{"stopped", "address corrected", "retire", "nothing"}, what):
				states = []string{"new", "hang up", "defer", "refuse", "held", "lost", "next day"}
			case purpose == loops.PurposeReminder:
				states = []string{"new", "hang up"}
			}
			for _, state := range states {
				t.Run(fmt.Sprintf("%s/%s/%s", purpose, what, state), func(t *testing.T) {
					t.Parallel()
					w := waiting{copyOf(t, path), startRelay(t), what, state, purpose, start}
					w.leavesTrue(t, happen)
				})
			}
		}
	}
}

// waiting is a letter that waits in a state while something happens.
type waiting struct {
	bench
	relay       *relay
	what, state string
	purpose     loops.Purpose
	now         time.Time
}

func (w waiting) leavesTrue(t *testing.T, happen func(bench, workshop.Stamp) error) {
	b, r := w.bench, w.relay
	d := b.delivererTo(t, r)
	var key loops.MessageKey
	for m, err := range b.store.Waiting() {
		require.NoError(t, err)
		key = m.Key
	}
	was, err := b.store.Message(key)
	require.NoError(t, err)
	switch w.state {
	case "defer", "hang up", "refuse":
		w.offered(t, d, w.state)
	case "lost":
		for range 3 {
			w.offered(t, d, "hang up")
			w.now = w.now.Add(3 * time.Hour)
		}
		m, err := b.store.MessageHead(key)
		require.NoError(t, err)
		require.Equal(t, loops.Held, m.Status)
	case "held":
		require.NoError(t, b.store.Hold(key, "mo", w.now))
	case "next day":
		w.now = w.now.AddDate(0, 0, 1)
	}
	first := r.take()
	require.Len(t, first, map[string]int{"hang up": 1, "lost": 3}[w.state])
	w.now = w.now.Add(time.Minute)
	require.NoError(t, happen(b, workshop.Stamp{At: w.now, By: "test"}))
	erased := w.what == "owner erased"
	switch w.state {
	case "refuse":
		require.True(t, erased || b.store.Requeue(key, "mo", w.now) == nil)
	case "held", "lost":
		require.True(t, erased || b.store.Release(key, "mo", w.now) == nil)
	}
	w.now = w.now.Add(3 * time.Hour)
	_, err = d.Deliver(t.Context(), w.now)
	require.NoError(t, err)
	second := r.take()
	for _, mail := range second {
		assert.Empty(t, contradictions(t, b, mail, w.now), "%s", mail.raw)
	}
	m, err := b.store.Message(key)
	require.NoError(t, err)
	assert.NotEqual(t, loops.Queued, m.Status)
	if m.Status == loops.Withdrawn {
		assert.Contains(t, m.Note, "not sent", "why is on record")
	}
	if w.state == "new" {
		why, withdrawn := whyWithdrawn(w.purpose)[w.what]
		assert.Equal(t, withdrawn, m.Status == loops.Withdrawn, "%s: %s", m.Status, m.Why())
		assert.Contains(t, m.Note, why)
	}
	for _, before := range first {
		sameOrNamed(t, before, second, m)
	}
	if w.what == "nothing" && w.state == "new" {
		require.Len(t, second, 1)
		assert.Equal(t, string(was.Raw), second[0].unsigned(), "what nothing happened to leaves as it was written")
	}
}

// offered offers what waits to the relay, once.
func (w waiting) offered(t *testing.T, d *notify.Deliverer, does string) {
	w.relay.set(does)
	_, err := d.Deliver(t.Context(), w.now)
	require.NoError(t, err)
	w.relay.set("")
}

// whyWithdrawn is what is said of a letter that was just written and does not leave,
// by what happened. What is not here changes words or nothing, and the letter leaves.
func whyWithdrawn(purpose loops.Purpose) map[string]string {
	const call, nothing = "a person is to call instead: ", "nothing that it speaks of is due to be said any more"
	why := map[string]string{
		"address taken out": "the owner has no mail address on record any more",
		"consent withdrawn": "the owner does not agree to mail any more",
		"stopped":           "the owner stopped the mail on",
		"transfer":          "the machine belongs to somebody else now",
	}
	switch purpose {
	case loops.PurposeHandover:
		for _, what := range []string{"intake", "swap"} {
			why[what] = what + " of Fri 1 May 2026 came after it"
		}
		why["handover"], why["return"] = "hand-over of Fri 1 May 2026 came after it", "return as it is of Fri 1 May 2026 came after it"
		why["retire"] = "retirement of Fri 1 May 2026 came after it"
		why["drain"], why["strike"] = "there is nothing in the loop any more", "there is nothing in the loop any more"
	case loops.PurposeReminder:
		for _, what := range []string{
			"answered all fine", "answered in two weeks", "call", "drain", "fill", "handover", "intake", "open", "plan", "proof", "readings", "retire",
			"return", "strike", "swap", "transfer",
		} {
			why[what] = nothing
		}
		for _, kind := range loops.AnswerKinds() {
			if kind != loops.AllFine {
				why["answered "+string(kind)] = call + `answered "` + string(kind)
			}
		}
		why["not me"], why["given up"] = call+`answered "call me"`, call+"mail does not arrive: no such mailbox"
	}
	return why
}

var idOf = regexp.MustCompile(`(?m)^Message-ID: (\S+)\r$`)

// sameOrNamed holds a letter whose reply was lost to its promise: the same bytes
// again, or another letter that names it, or none.
func sameOrNamed(t *testing.T, first arrived, second []arrived, m loops.Message) {
	t.Helper()
	id := idOf.FindStringSubmatch(first.raw)[1]
	for _, mail := range second {
		switch {
		case strings.Contains(mail.raw, "Message-ID: "+id+"\r\n"):
			assert.Equal(t, first, mail, "the same letter has the same bytes")
			assert.Equal(t, loops.Delivered, m.Status)
		case strings.Contains(mail.raw, "In-Reply-To: "+id+"\r\n"):
			assert.Equal(t, loops.Withdrawn, m.Status)
			assert.Contains(t, mail.raw, "References: "+id+"\r\n")
		default:
			preview, err := notify.ReadPreview([]byte(mail.raw))
			require.NoError(t, err)
			assert.False(t, isReminder(preview.Text), "a second reminder that does not name the first")
		}
	}
}
