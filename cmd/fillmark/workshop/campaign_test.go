// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"crypto/rand"
	"fmt"
	"maps"
	mathrand "math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/schedule"
	"fillmark/testdata/seeded"
)

// reminded names one task due on one day.
type reminded struct {
	loop loops.LoopID
	task loops.TaskKind
	due  loops.Day
}

// posted is a letter that left: the owner's day, by its number, and whether it
// counts for the year.
type posted struct {
	day      int
	reminder bool
}

// campaign is a simulated workshop and, beside it, what must have been mailed
// by rules written apart from the program's: over every plan there is, not over
// the due index, with its own days and stages.
type campaign struct {
	t      *testing.T
	random *mathrand.Rand
	path   string
	bench
	owners map[loops.OwnerID]loops.Owner
	loops  map[loops.LoopID]loops.Loop
	owner  map[loops.LoopID]loops.OwnerID

	stages map[reminded]map[int]bool // stages mailed, 0 ahead to 3 last
	mailed map[string]bool           // owner and owner's day
	posted map[loops.OwnerID][]posted
	noted  map[loops.MessageKey]bool // letters of a machine's going that are in posted
	going  bool                      // a letter waited at the last sweep
	now    time.Time                 // true time
	step   time.Duration             // what the computer's clock is off by

	sweeps, mails, items, acts, restarts, steps, downDays int
}

// zones have half hours, clocks changed at midnight (Santiago, Cairo), the
// earliest and nearly the latest day on earth, and a day that was skipped: 30
// December 2011 in Apia.
func campaignZones() []string {
	return []string{"", "Europe/Berlin", "America/Los_Angeles", "Asia/Kolkata", "Pacific/Kiritimati", "Pacific/Pago_Pago", "Pacific/Apia", "America/Santiago", "Africa/Cairo", "Australia/Lord_Howe"}
}

// TestCampaign simulates a workshop for a year with 24 loops; with
// FILLMARK_CAMPAIGN=full ten years with 200. FILLMARK_CAMPAIGN_SEED repeats a run.
func TestCampaign(t *testing.T) {
	t.Parallel()
	start, years, count := time.Date(2011, 6, 1, 0, 0, 0, 0, time.UTC), 1, 24
	if seeded.Long() {
		start, years, count = time.Date(2008, 6, 1, 0, 0, 0, 0, time.UTC), 10, 200
	} else if testing.Short() {
		count = 12
	}
	seed := seeded.Seed(t)
	c := &campaign{
		t: t, random: mathrand.New(mathrand.NewPCG(seed, 6)), path: filepath.Join(t.TempDir(), "register.db"), now: start,
		owners: map[loops.OwnerID]loops.Owner{}, loops: map[loops.LoopID]loops.Loop{}, owner: map[loops.LoopID]loops.OwnerID{},
		stages: map[reminded]map[int]bool{}, mailed: map[string]bool{}, posted: map[loops.OwnerID][]posted{}, noted: map[loops.MessageKey]bool{},
	}
	c.open()
	defer func() { require.NoError(t, c.store.Close()) }()
	for n := range count {
		c.newLoop(n)
	}
	for end := start.AddDate(years, 0, 0); c.now.Before(end); {
		c.day()
	}
	report, err := c.store.Check(t.Context())
	require.NoError(t, err)
	require.Empty(t, report.Problems)
	t.Logf("%d loops, %d sweeps, %d mails about %d tasks, %d acts, %d restarts, %d clock steps, %d days down",
		len(c.loops), c.sweeps, c.mails, c.items, c.acts, c.restarts, c.steps, c.downDays)
	require.Greater(t, c.mails, count, "a campaign without mail proves nothing")
}

func (c *campaign) open() {
	s, err := store.Open(c.path, store.Options{})
	require.NoError(c.t, err)
	policy := schedule.DefaultPolicy()
	policy.FirstFrost = loops.MonthDay{Month: time.October, Dom: 15}
	c.bench = bench{workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8, Policy: policy,
	}, rand.Reader, keys(c.t, 1)), s}
}

func (c *campaign) stamp() workshop.Stamp {
	return workshop.Stamp{At: c.now.Add(c.step), By: "campaign"}
}

func (c *campaign) chance(p float64) bool { return c.random.Float64() < p }

// newLoop brings a machine in, fills its loop and hands it over; every third
// owner has two machines.
func (c *campaign) newLoop(n int) {
	id := loops.OwnerID(n - n/3)
	if n%3 != 2 {
		owner, err := c.AddOwner(c.stamp(), loops.Owner{
			Name: fmt.Sprintf("Owner %d", n), Email: fmt.Sprintf("owner%d@garden.example", n), Consent: loops.Consent{Mail: true},
			Zone: campaignZones()[n%len(campaignZones())],
		})
		require.NoError(c.t, err)
		c.owners[owner.ID], id = owner, owner.ID
	}
	kinds := []loops.MachineKind{loops.Desktop, loops.Workstation, loops.Server, loops.LaserChiller}
	machine, err := c.AddMachine(c.stamp(), loops.Machine{Owner: id, Kind: kinds[n%len(kinds)], Name: fmt.Sprintf("machine %d", n)})
	require.NoError(c.t, err)
	built := loops.Construction{Volume: 0.5, Sealed: n%4 == 1, ColdestWall: new(chemistry.Celsius(-10))}
	if machine.Kind.IsChiller() {
		built.SetPoint, built.EvaporatorMargin = new(chemistry.Celsius(18)), new(chemistry.CelsiusDelta(8))
	}
	loop, err := c.AddLoop(c.stamp(), loops.Loop{Machine: machine.ID, Construction: built})
	require.NoError(c.t, err)
	c.owner[loop.ID] = id
	c.loops[loop.ID] = loop
	c.fill(loop.ID)
}

func (c *campaign) zone(id loops.OwnerID) *time.Location {
	zone, err := loops.LoadZone(c.owners[id].Zone)
	if err != nil {
		return time.UTC
	}
	return zone
}

// today is the owner's day by the computer's clock.
func (c *campaign) today(id loops.OwnerID) loops.Day {
	y, m, d := c.stamp().At.In(c.zone(id)).Date()
	return loops.Day{Year: y, Month: m, Dom: d}
}

func (c *campaign) record(id loops.LoopID, e loops.Entry) {
	recorded, err := c.Do(c.stamp(), c.loops[id].Tag, e)
	require.NoError(c.t, err)
	c.loops[id] = recorded.Loop
	c.acts++
}

func (c *campaign) fill(id loops.LoopID) {
	charge := glycol()
	charge.Additives = append(charge.Additives, loops.Dosed{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 9}})
	c.loops[id] = c.filledAndChecked(c.t, c.stamp(), c.loops[id].Tag, charge, true).Loop
	c.acts += 3
	c.owners[c.owner[id]] = c.read(c.owner[id])
}

func (c *campaign) read(id loops.OwnerID) loops.Owner {
	owner, err := c.store.Owner(id)
	require.NoError(c.t, err)
	return owner
}

// day lets one day pass: people act, the program sweeps four times unless it
// is down, and now and then it restarts or its clock is set.
func (c *campaign) day() {
	start := c.now
	down := c.chance(0.03)
	if down {
		c.downDays++
	}
	for _, minute := range []int{30, 8 * 60, 16*60 + 10, 18*60 + 20, 23 * 60} {
		c.now = start.Add(time.Duration(minute+c.random.IntN(25)) * time.Minute)
		if minute == 16*60+10 {
			c.people()
		}
		if c.chance(0.01) {
			require.NoError(c.t, c.store.Close())
			c.open()
			c.restarts++
		}
		if c.chance(0.004) {
			// Set wrong by up to two days, either way, or set right again.
			c.step = time.Duration(c.random.IntN(97)-48) * time.Hour * time.Duration(c.random.IntN(2))
			c.steps++
		}
		if !down {
			c.sweep()
			if c.chance(0.2) {
				c.sweep() // cron and the ticker at once
			}
		}
	}
	c.now = start.AddDate(0, 0, 1)
	if c.chance(0.01) {
		weeks := 1 + c.random.IntN(4) // off over the holidays
		c.now, c.downDays = c.now.AddDate(0, 0, 7*weeks), c.downDays+7*weeks
	}
}

// people do now and then what is due, answer mails, stop and resume them.
func (c *campaign) people() {
	ids := slices.Sorted(maps.Keys(c.loops))
	for _, id := range ids {
		owner := c.owner[id]
		if c.chance(0.0006) {
			_, err := c.SetMail(c.stamp(), owner, c.chance(0.4))
			require.NoError(c.t, err)
			c.owners[owner] = c.read(owner)
		}
		if c.chance(0.0008) {
			c.record(id, loops.Entry{Kind: loops.KindSetting, Setting: &loops.Setting{Task: loops.Look, Paused: c.chance(0.3), IntervalMonths: 1 + c.random.IntN(2), Why: "asked for"}})
		}
		for _, task := range c.loops[id].Plan.Tasks {
			if !task.Due.After(c.today(owner)) && c.chance(0.06) {
				c.settle(id, task.Kind)
				break // the plan is another one now
			}
		}
	}
}

// settle does one task, or answers about it.
func (c *campaign) settle(id loops.LoopID, task loops.TaskKind) {
	answers := []loops.AnswerKind{loops.AllFine, loops.AllFine, loops.AllFine, loops.CallMe, loops.SomethingOff, loops.Pause}
	switch {
	case task == loops.Look || c.chance(0.2):
		owner := c.owner[id]
		_, err := c.Answer(c.stamp(), c.owners[owner], loops.Answer{Answer: answers[c.random.IntN(len(answers))]})
		require.NoError(c.t, err)
		for other, of := range c.owner {
			if of == owner {
				loop, err := c.store.Loop(other)
				require.NoError(c.t, err)
				c.loops[other] = loop
			}
		}
		c.acts++
	case task == loops.ServiceCheck:
		x := loops.Inspection{Verdict: loops.Good, Die: new(chemistry.Celsius(50)), Room: new(chemistry.Celsius(20)), PowerW: new(90.0), Steady: true}
		if c.chance(0.3) {
			x.Missing = new(chemistry.Litre(0.01))
		}
		c.record(id, loops.Entry{Kind: loops.KindInspection, Inspection: &x})
	case task == loops.TopUpTask:
		c.record(id, already(loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.01}}}}))
	case task == loops.LeakCheckTask:
		c.record(id, loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}})
	case task == loops.BiocideRenewal:
		c.record(id, loops.Entry{Kind: loops.KindDose, Dose: &loops.Dose{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 9}}})
	default:
		c.fill(id)
	}
}

// stageBy is the stage that a task has reached so many days after its due day;
// ok is false before the first and from the call on. 7 days ahead, on the day,
// 7 and 21 days after it, a call after 35.
func stageBy(days int) (stage int, ok bool) {
	stage = -1
	for n, from := range []int{-7, 0, 7, 21} {
		if days >= from {
			stage = n
		}
	}
	return stage, stage >= 0 && days < 35
}

// told tells whether the stage of a task, or a later one, had its letter.
func (c *campaign) told(key reminded, stage int) bool {
	return slices.ContainsFunc([]int{0, 1, 2, 3}, func(n int) bool { return n >= stage && c.stages[key][n] })
}

// openTask is a task that mail is about: stage -1 before the first, 4 from the
// call on.
type openTask struct {
	reminded
	stage  int
	urgent bool
}

// expected lists whom the sweep must remind now, and of what: the tasks of an
// owner within thirty days of the first are one letter, which the first calls
// for, or one that was never told of; a fortnight lies between letters and a year
// has eight. What a leak or a wrong liquid asks for waits for none of it.
func (c *campaign) expected() map[loops.OwnerID][]reminded {
	waiting := map[loops.OwnerID]bool{}
	for m, err := range c.store.Waiting() {
		require.NoError(c.t, err)
		if m.Purpose == loops.PurposeReminder || m.Purpose == loops.PurposeHandover {
			waiting[m.Owner], c.going = true, true
		}
	}
	due := map[loops.OwnerID][]reminded{}
	for of, open := range c.openTasks() {
		today := days(c.today(of))
		if c.stamp().At.In(c.zone(of)).Hour() < 8 || c.mailed[fmt.Sprint(of, c.today(of))] || waiting[of] {
			continue
		}
		tooNear, year := false, 0
		for _, p := range c.posted[of] {
			tooNear = tooNear || today-p.day < 14
			if p.reminder && today-p.day < 365 {
				year++
			}
		}
		slices.SortFunc(open, func(a, b openTask) int { return days(a.due) - days(b.due) })
		for len(open) > 0 {
			first, n := open[0], 0
			for n < len(open) && days(open[n].due)-days(first.due) <= 30 {
				n++
			}
			visit := open[:n]
			open = open[n:]
			urgent, unsaid := false, false
			for _, t := range visit {
				never := t.stage >= 0 && t.stage < 4 && len(c.stages[t.reminded]) == 0
				unsaid = unsaid || never || t.due == first.due && !c.told(t.reminded, first.stage)
				urgent = urgent || never && t.urgent
			}
			calls := first.stage >= 0 && first.stage < 4 && unsaid
			if !urgent && (!calls || tooNear || year >= 8) {
				continue
			}
			for _, t := range visit {
				if t.stage < 4 {
					due[of] = append(due[of], t.reminded)
				}
			}
		}
	}
	return due
}

// openTasks lists the tasks of each owner that mail is about.
func (c *campaign) openTasks() map[loops.OwnerID][]openTask {
	open := map[loops.OwnerID][]openTask{}
	for id, loop := range c.loops {
		of := c.owner[id]
		if !c.owners[of].MayMail() || !loop.State.Asked.IsZero() {
			continue
		}
		for _, task := range loop.Plan.Tasks {
			past := days(c.today(of)) - days(task.Due)
			stage, ok := stageBy(past)
			if past >= 35 {
				stage = 4
			}
			answered := slices.ContainsFunc(loop.State.Answered, func(a loops.Answered) bool {
				return a.Task == task.Kind && days(task.Due) <= days(a.Day)+7
			})
			if task.Paused || answered || !ok && task.Kind == loops.Look && past < 0 {
				continue
			}
			urgent := slices.ContainsFunc(loop.State.Conditions(), func(x loops.Condition) bool { return x.Task == task.Kind })
			open[of] = append(open[of], openTask{reminded{id, task.Kind, task.Due}, stage, urgent})
		}
	}
	return open
}

// noteGoings puts down the letters of machines' going that have left.
func (c *campaign) noteGoings() {
	if !c.going {
		return
	}
	c.going = false
	for m, err := range c.store.Messages("") {
		require.NoError(c.t, err)
		if c.stamp().At.Sub(m.Created) > 60*24*time.Hour {
			return
		}
		if m.Purpose == loops.PurposeHandover && m.Status == loops.Delivered && !c.noted[m.Key] {
			c.noted[m.Key] = true
			c.posted[m.Owner] = append(c.posted[m.Owner], posted{days(loops.DayOf(m.LastAttempt, c.zone(m.Owner))), false})
		}
	}
}

// calls counts the tasks that a person must take up now: those that mail has
// done what it can for, and those of owners whom no mail may reach or who asked
// for something else.
func (c *campaign) calls() int {
	n := 0
	for id, loop := range c.loops {
		of := c.owner[id]
		for _, task := range loop.Plan.Tasks {
			past := days(c.today(of)) - days(task.Due)
			if !task.Paused && past >= -7 && (past >= 35 || !loop.State.Asked.IsZero() || !c.owners[of].MayMail()) {
				n++
			}
		}
	}
	return n
}

// days counts days from a fixed one, by the calendar's own rules.
func days(d loops.Day) int {
	y, m := d.Year, int(d.Month)
	if m <= 2 {
		y, m = y-1, m+12
	}
	return 365*y + y/4 - y/100 + y/400 + (153*(m-3)+2)/5 + d.Dom
}

// sweep sweeps and compares what was mailed with what had to be.
func (c *campaign) sweep() {
	want, calls := c.expected(), c.calls()
	swept, err := c.Sweep(c.stamp())
	require.NoError(c.t, err)
	c.delivered(c.t, c.stamp().At)
	c.sweeps++
	var got, keys []string
	for _, r := range swept.Reminders {
		got = append(got, string(r.Key))
	}
	for of, items := range want {
		today := c.today(of)
		key := loops.NewMessageKey(of, today, loops.PurposeReminder, "")
		keys = append(keys, string(key))
		c.mailed[fmt.Sprint(of, today)] = true
		c.posted[of] = append(c.posted[of], posted{days(today), true})
		c.mails++
		for _, item := range items {
			stage, _ := stageBy(days(today) - days(item.due))
			stage = max(stage, 0) // it joins a visit that comes up
			if c.stages[item] == nil {
				c.stages[item] = map[int]bool{}
			}
			c.stages[item][stage] = true
			c.items++
			c.marked(item, stage, key)
		}
	}
	c.noteGoings()
	slices.Sort(got)
	slices.Sort(keys)
	require.Equal(c.t, keys, got, "whom the sweep mailed at %s", c.stamp().At)
	require.Equal(c.t, calls, swept.Calls, "tasks for a person at %s", c.stamp().At)
	for _, r := range swept.Reminders {
		m, err := c.store.MessageHead(r.Key)
		require.NoError(c.t, err)
		require.Equal(c.t, loops.Delivered, m.Status, "%s: %s", m.Key, m.Note)
		require.Empty(c.t, m.Note, "what was just written leaves as it is")
	}
}

// marked compares the marks on record of one task and day with those there
// must be: this stage's with this message, and the earlier ones.
func (c *campaign) marked(item reminded, stage int, key loops.MessageKey) {
	marks, err := c.store.Sent(item.loop, item.task, item.due)
	require.NoError(c.t, err)
	names := []loops.Stage{loops.StageAhead, loops.StageDue, loops.StageLate, loops.StageLast}
	require.Len(c.t, marks, len(c.stages[item]), "%v", item)
	for _, m := range marks {
		require.True(c.t, c.stages[item][slices.Index(names, m.Stage)], "%v: %s", item, m.Stage)
		if m.Stage == names[stage] {
			require.Equal(c.t, key, m.Message)
		}
	}
}
