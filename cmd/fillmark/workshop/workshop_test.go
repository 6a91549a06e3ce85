// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/schedule"
)

// bench is a workshop on a real register in a folder of the test.
type bench struct {
	*workshop.Workshop
	store *store.Store
}

func newBench(t *testing.T) bench {
	t.Helper()
	s, err := store.Open(filepath.Join(t.TempDir(), "register.db"), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	w := workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8, Policy: schedule.DefaultPolicy(),
	}, rand.Reader, keys(t, 1))
	return bench{w, s}
}

// keys sign links with a secret of the test.
func keys(t require.TestingT, seed byte) links.Keys {
	of, err := links.New(bytes.Repeat([]byte{seed}, 32))
	require.NoError(t, err)
	return of
}

func at(text string) workshop.Stamp {
	instant, err := time.Parse("2006-01-02 15", text)
	if err != nil {
		panic(err) // a typo in a test
	}
	return workshop.Stamp{At: instant, By: "test"}
}

// Answer is what the owner answers about all loops.
func (b bench) Answer(s workshop.Stamp, owner loops.Owner, answer loops.Answer) ([]loops.Tag, error) {
	return b.AnswerAbout(s, owner, answer, "")
}

// handedOver is a loop that was filled the day before and handed over on the
// day.
func (b bench) handedOver(t *testing.T, email string, stamp workshop.Stamp) loops.Loop {
	t.Helper()
	owner, err := b.AddOwner(stamp, loops.Owner{Name: "Ana Ruizado", Email: email, Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	machine, err := b.AddMachine(stamp, loops.Machine{Owner: owner.ID, Kind: loops.Desktop, Name: "the grey tower"})
	require.NoError(t, err)
	loop, err := b.AddLoop(stamp, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5, ColdestWall: new(chemistry.Celsius(-10))}})
	require.NoError(t, err)
	return b.filledAndChecked(t, stamp, loop.Tag, glycol(), true).Loop
}

func (b bench) messages(t *testing.T) []loops.Message {
	t.Helper()
	var all []loops.Message
	for m, err := range b.store.Messages("") {
		require.NoError(t, err)
		whole, err := b.store.Message(m.Key)
		require.NoError(t, err)
		all = append(all, whole)
	}
	return all
}

// An answer that arrives twice at once, as a button pressed twice does, is one.
func TestAnAnswerSentTwiceAtOnceIsOne(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	machine, err := b.store.Machine(loop.Machine)
	require.NoError(t, err)
	owner, err := b.store.Owner(machine.Owner)
	require.NoError(t, err)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			_, err := b.AnswerAbout(at("2026-05-02 10"), owner, loops.Answer{Answer: loops.SomethingOff, Words: "drops"}, loop.Tag)
			assert.NoError(t, err)
		})
	}
	all.Wait()
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	answers := 0
	for _, e := range file.History {
		if e.Kind == loops.KindAnswer {
			answers++
		}
	}
	assert.Equal(t, 1, answers)
}

func TestHandoverPlansAndMailsInOneChange(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	assert.NotEmpty(t, loop.Plan.Tasks)
	dues, err := b.store.DueThrough(loops.Day{Year: 2030, Month: 1, Dom: 1})
	require.NoError(t, err)
	assert.Len(t, dues, len(loop.Plan.Tasks))
	messages := b.messages(t)
	require.Len(t, messages, 1)
	assert.Equal(t, loops.PurposeHandover, messages[0].Purpose)
	_, mail := b.latest(t, loops.PurposeHandover)
	for _, task := range loop.Plan.Tasks {
		assert.Contains(t, squeeze(mail.Text), task.Binding().ForOwner(), "why it will be due on its day")
	}
	assert.Contains(t, string(messages[0].Raw), "To: ")
}

// nowhere is a transport that takes everything.
type nowhere struct{}

func (nowhere) Open(context.Context) error                          { return nil }
func (nowhere) Send(context.Context, notify.Envelope, []byte) error { return nil }
func (nowhere) End()                                                {}

// delivered takes all mail that waits at the instant.
func (b bench) delivered(t *testing.T, at time.Time) {
	t.Helper()
	d, err := notify.NewDeliverer(b.store, b.Workshop, nil, nowhere{}, notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	_, err = d.Deliver(t.Context(), at)
	require.NoError(t, err)
}

// A sweep reminds once per stage, whatever happens in between, and says again
// only when the next stage has come.
func TestSweepIsIdempotentAndEscalates(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	first := workshop.NextTasks(loop.Plan)[0]
	require.Equal(t, loops.Look, first.Kind)
	b.delivered(t, at("2026-05-01 16").At)
	stages := map[loops.Stage]int{}
	for day := range 60 {
		for hour := 0; hour < 24; hour += 6 {
			now := first.Due.AddDays(day-10).At(hour, time.UTC)
			for range 2 {
				swept, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
				require.NoError(t, err)
				for _, r := range swept.Reminders {
					stages[r.Stage]++
					assert.GreaterOrEqual(t, hour, 8, "no mail before the owner's morning")
				}
				b.delivered(t, now)
			}
		}
	}
	// A week before its day is too near to the letter of the hand-over.
	assert.Equal(t, map[loops.Stage]int{loops.StageDue: 1, loops.StageLate: 1, loops.StageLast: 1}, stages)
	due, err := b.Due(first.Due.AddDays(50).At(9, time.UTC))
	require.NoError(t, err)
	require.NotEmpty(t, due.Call, "after the last reminder somebody calls")
}

func TestAllFineAnswersTheReminderAndNothingElse(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	look := workshop.NextTasks(loop.Plan)[0]
	tags, err := b.Answer(workshop.Stamp{At: look.Due.At(10, time.UTC), By: "owner"}, owner, loops.Answer{Answer: loops.AllFine})
	require.NoError(t, err)
	assert.Equal(t, []loops.Tag{loop.Tag}, tags)
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.True(t, file.Loop.State.LastKnownGood.IsZero(), "an owner's answer is no measurement")
	for _, task := range file.Loop.Plan.Tasks {
		if task.Kind == loops.Look {
			assert.True(t, task.Due.After(look.Due))
		}
	}
}

func TestMailStopsAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	due := workshop.NextTasks(loop.Plan)[0].Due
	_, err := b.SetMail(at("2026-05-02 10"), 1, true)
	require.NoError(t, err)
	swept, err := b.Sweep(workshop.Stamp{At: due.At(12, time.UTC), By: "schedule"})
	require.NoError(t, err)
	assert.Empty(t, swept.Reminders)
	assert.Positive(t, swept.Calls, "the technician is told to call")
	owner, err := b.SetMail(at("2026-05-03 10"), 1, false)
	require.NoError(t, err)
	assert.True(t, owner.MayMail())
}

// A technician can put down that an owner stopped the mail, and can never undo
// it: not by an edit, not by a consent at hand-over.
func TestOnlyTheOwnerLetsMailRunAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	owner.MailStopped = loops.Day{Year: 2026, Month: 5, Dom: 2}
	edited, err := b.Edit(at("2026-05-02 10"), workshop.Edit{Owner: &owner})
	require.NoError(t, err)
	resumed := edited.Owner
	resumed.MailStopped = loops.Day{}
	_, err = b.Edit(at("2026-05-03 10"), workshop.Edit{Owner: &resumed})
	require.ErrorContains(t, err, "only the owner's own click")
	_, err = b.Do(at("2026-05-04 10"), loop.Tag, givenBack(loops.Day{}, true))
	require.NoError(t, err)
	stopped, err := b.store.Owner(1)
	require.NoError(t, err)
	assert.Equal(t, owner.MailStopped, stopped.MailStopped)
	again, err := b.SetMail(workshop.Stamp{At: at("2026-05-05 10").At, By: "owner"}, 1, false)
	require.NoError(t, err)
	assert.True(t, again.MailStopped.IsZero())
}

func TestReminderSaysWhatItMust(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	b.delivered(t, at("2026-05-01 16").At)
	due := workshop.NextTasks(loop.Plan)[0].Due
	_, err := b.Sweep(workshop.Stamp{At: due.At(12, time.UTC), By: "schedule"})
	require.NoError(t, err)
	messages := b.messages(t)
	require.Len(t, messages, 2)
	raw := string(messages[0].Raw)
	for _, part := range []string{"List-Unsubscribe: <https://loops.test.example/stop/", "List-Unsubscribe-Post: List-Unsubscribe=One-Click", "Auto-Submitted: auto-generated", "text/calendar", string(loop.Tag)} {
		assert.Contains(t, raw, part)
	}
	assert.True(t, strings.HasSuffix(raw, "\r\n"))
}

// The bottle of the old cooler's charge is not what the new one was filled from.
func TestBottleOfTheChargeThatIsInIt(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: time.May, Dom: 1}
	f := workshop.File{
		Shelf:   []loops.Container{{ID: 1, Product: "Bench Blue", Fluid: chemistry.PropyleneGlycol, Pairs: []chemistry.LabelPair{{}}}},
		History: []loops.Entry{{ID: 1, Day: day, Kind: loops.KindFill, Fill: &loops.Fill{Poured: []loops.Pour{{Container: 1}}}}},
	}
	bottle, err := f.Bottle()
	require.NoError(t, err)
	require.NotNil(t, bottle)
	assert.Equal(t, "Bench Blue", bottle.Name)
	f.History = append(f.History, loops.Entry{ID: 2, Day: day, Kind: loops.KindSwap, Swap: &loops.Swap{}})
	bottle, err = f.Bottle()
	require.NoError(t, err)
	assert.Nil(t, bottle)
}

func TestTopUpOfALoopOnRecord(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	room := chemistry.Litre(0.04)
	answer, err := b.CheckTopUp(workshop.TopUpQuestion{Tag: string(loop.Tag), Room: &room, With: []string{"eg:95%"}})
	require.NoError(t, err)
	assert.Equal(t, chemistry.Stop, answer.Verdict)
	pair, err := chemistry.ParseLabelPair("30%:-14C")
	require.NoError(t, err)
	bottle, err := b.AddContainer(at("2026-05-02 9"), loops.Container{Kind: loops.ConcentrateBottle, Product: "neat", Fluid: chemistry.PropyleneGlycol, Left: 5, Pairs: []chemistry.LabelPair{pair}})
	require.NoError(t, err)
	labelled := workshop.TopUpQuestion{Tag: string(loop.Tag), Room: &room, With: []string{"water"}, Product: "neat", Label: []chemistry.LabelPair{pair}}
	byHand, err := b.CheckTopUp(labelled)
	require.NoError(t, err)
	labelled.Product, labelled.Label, labelled.With = "", nil, []string{"water", fmt.Sprint(bottle.ID)}
	byShelf, err := b.CheckTopUp(labelled)
	require.NoError(t, err)
	assert.Equal(t, byHand.After, byShelf.After, "the bottle's own curve, typed or from the shelf")
	labelled.With = []string{"99"}
	_, err = b.CheckTopUp(labelled)
	assert.ErrorContains(t, err, "container 99")
	_, err = b.CheckTopUp(workshop.TopUpQuestion{Tag: "7K3QXX", Room: &room})
	assert.ErrorContains(t, err, "mistyped")
}

func TestRecordRefusesWhatContradictsTheRegister(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-05-01 15")
	loop := b.handedOver(t, "ana@garden.example", stamp)
	for name, e := range map[string]loops.Entry{
		"a day to come":       {Kind: loops.KindClean, Day: loops.Day{Year: 2026, Month: 6, Dom: 1}},
		"an entry not there":  {Kind: loops.KindCorrection, Correction: &loops.Correction{Strikes: 99, Why: "x"}},
		"more than it holds":  {Kind: loops.KindFill, Fill: &loops.Fill{Charge: loops.Charge{Fluid: chemistry.PropyleneGlycol, Volume: 3, Origin: loops.WorkshopFill, FilledTo: loops.Day{Year: 2026, Month: 5, Dom: 1}}}},
		"an owner not there":  {Kind: loops.KindTransfer, Transfer: &loops.Transfer{To: 9}},
		"a year before these": {Kind: loops.KindClean, Day: loops.Day{Year: 1066, Month: 10, Dom: 14}},
	} {
		_, err := b.Do(stamp, loop.Tag, e)
		assert.Error(t, err, name)
	}
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.Equal(t, loop.Revision, file.Loop.Revision, "nothing was written")
}

// A loop that is weighed again and again gets its top-up from its own loss.
func TestWeighingsMoveThePlan(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-01-01 15"))
	for month, kg := range map[int]chemistry.Kilogram{1: 4.000, 3: 3.985, 5: 3.970} {
		stage := loops.WeighedLater
		stamp := workshop.Stamp{At: time.Date(2026, time.Month(month), 2, 12, 0, 0, 0, time.UTC), By: "test"}
		_, err := b.Do(stamp, loop.Tag, loops.Entry{Kind: loops.KindWeighing, Weighing: &loops.Weighing{Stage: stage, Weight: kg}})
		require.NoError(t, err)
	}
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	var kinds []loops.ClauseKind
	for _, task := range file.Loop.Plan.Tasks {
		if task.Kind == loops.TopUpTask {
			for _, c := range task.Clauses {
				kinds = append(kinds, c.Kind)
			}
		}
	}
	assert.Contains(t, kinds, loops.ByLoss)
}

// Strengths that are typed by volume are taken to mass once, and a glycol that is
// not named gets the stop that it gets by mass.
func TestTopUpByVolume(t *testing.T) {
	t.Parallel()
	ask := func(fluid chemistry.Fluid, basis, with string) workshop.TopUpAnswer {
		q := workshop.TopUpQuestion{
			Fluid: fluid, Holds: new(chemistry.Litre(0.4)), Room: new(chemistry.Litre(0.1)), Basis: basis, With: []string{with}, Protect: new(chemistry.Celsius(-5)),
		}
		if fluid.IsGlycol() {
			q.Mass = new(chemistry.MassFraction(0.4))
		}
		answer, err := q.Check()
		require.NoError(t, err, "%s %s", basis, with)
		return answer
	}
	pg := chemistry.PropyleneGlycol
	bare := ask(pg, "volume", "premix:40%")
	assert.Equal(t, bare.After, ask(pg, "volume", "premix:40vol%").After)
	assert.InDelta(t, 40, bare.After.VolumePercent, 0.01, "40 vol % into 40 vol %")
	assert.NotEqual(t, bare.After, ask(pg, "volume", "premix:40mass%").After)
	for _, fluid := range []chemistry.Fluid{chemistry.TreatedWater, ""} {
		for _, with := range []string{"concentrate:95%", "concentrate:95vol%"} {
			assert.Equal(t, chemistry.Stop, ask(fluid, "volume", with).Verdict, with)
			assert.Equal(t, chemistry.Stop, ask(fluid, "", with).Verdict, with)
		}
	}
}

// In a loop of which nobody measured the volume there is what went in, less what
// was seen to be missing.
func TestTopUpCountsWhatIsMissing(t *testing.T) {
	t.Parallel()
	loop := loops.Loop{State: loops.State{Charge: new(glycol()), Missing: 0.2}}
	loop.State.Charge.MassUncertainty = 0.01
	with, wall := []string{"premix:35%"}, new(chemistry.Celsius(-5))
	missing, err := workshop.TopUpQuestion{With: with, Protect: wall}.CheckOf(loop, loops.SinceFill{})
	require.NoError(t, err)
	told, err := workshop.TopUpQuestion{With: with, Protect: wall, Holds: new(chemistry.Litre(0.28)), Room: new(chemistry.Litre(0.2))}.CheckOf(loop, loops.SinceFill{})
	require.NoError(t, err)
	assert.NotEmpty(t, told.Steps)
	assert.InDelta(t, told.After.MassPercent, missing.After.MassPercent, 1e-9)
}
