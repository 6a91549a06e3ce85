// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
)

// joined is the text of a letter or a sheet with its white space made one.
func joined(text string) string { return strings.Join(strings.Fields(text), " ") }

// back composes the letter of a loop going back.
func back(t require.TestingT, change func(*notify.HandoverInput)) string {
	in := handover()
	change(&in)
	sheet, err := notify.PrintHandover(in)
	require.NoError(t, err)
	return joined(sheet.Text)
}

func TestColdIsJudged(t *testing.T) {
	t.Parallel()
	freeze, wall := chemistry.Celsius(-3.6), chemistry.Celsius(-10)
	for _, tt := range []struct {
		name      string
		change    func(*notify.HandoverLoop)
		want, not string
	}{
		{"a charge that freezes in its place", func(l *notify.HandoverLoop) { l.Freeze, l.FreezeUncertainty, l.Coldest = &freeze, 0.5, &wall },
			"It may begin to freeze at -3.1 °C. Keep it warmer than that, in use, stored and on the way. We were told that it gets as cold as -10.0 °C: there it would freeze", "no colder"},
		{"one that bears it", func(l *notify.HandoverLoop) {}, "Keep it no colder than -15 °C, in use, stored and on the way: we filled it for that. Below -22.7 °C it may freeze.", "would freeze"},
		{"the warm end on the wall", func(l *notify.HandoverLoop) { l.Freeze, l.FreezeUncertainty = new(chemistry.Celsius(-16)), 1 }, "would freeze", "no colder"},
		{"a hair below it", func(l *notify.HandoverLoop) { l.Freeze, l.FreezeUncertainty = new(chemistry.Celsius(-16.1)), 1 }, "no colder than -15 °C", "would freeze"},
		{"an unknown wall", func(l *notify.HandoverLoop) { l.Coldest = nil }, "We do not know how cold it gets where you keep it: until you tell us, keep it from frost.", "no colder"},
		{"an unknown strength", func(l *notify.HandoverLoop) { l.Freeze = nil }, "Nobody knows how cold it may get before it freezes: keep it from frost", "no colder"},
		{"nothing can freeze", func(l *notify.HandoverLoop) { l.Coldest, l.NoFrost = nil, true }, "We were told that nothing in it can freeze where it is", "no colder"},
		{"nothing can freeze, strength unknown", func(l *notify.HandoverLoop) { l.Freeze, l.Coldest, l.NoFrost = nil, nil, true }, "Nobody knows how cold it may get before it freezes", "no colder"},
	} {
		text := back(t, func(in *notify.HandoverInput) { tt.change(&in.Loops[0]) })
		assert.Contains(t, text, tt.want, tt.name)
		assert.NotContains(t, text, tt.not, tt.name)
	}
}

func TestLetterSaysWhatIsProvedAndWhatWasSetAside(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: 11, Dom: 20}
	text := back(t, func(in *notify.HandoverInput) { in.Loops[0].Proved = day })
	assert.Contains(t, text, "The grey tower Proved on Fri 20 Nov 2026: measured after the repair, it cools better than before. In it:")
	text = back(t, func(in *notify.HandoverInput) {
		in.Loops[0].Proved, in.Loops[0].Holds = day, new(chemistry.Celsius(12))
	})
	assert.Contains(t, text, "it cools better than before, and holds the 12.0 °C that it is set to. In it:")
	text = back(t, func(in *notify.HandoverInput) {
		l := &in.Loops[0]
		l.Conditions = loops.State{Charge: &loops.Charge{Origin: loops.WorkshopFill, FilledTo: day}}.Conditions()
		l.Unproved = "the owner came for it before the bench was free"
		l.SetAside = []loops.SetAside{{Day: day, Text: "no leak check of 24 hours has stayed dry since the loop was filled.", Overrule: loops.Overrule{Rule: "leak-check", Why: "a pressure test held for an hour"}}}
	})
	assert.Contains(t, text, "The grey tower NOT PROVEN: no measurement shows that the repair holds.")
	assert.Contains(t, text, "Why it is not proven: the owner came for it before the bench was free.")
	assert.Contains(t, text, "On Fri 20 Nov 2026 we set aside a rule of ours: no leak check of 24 hours has stayed dry since the loop was filled. Our reason: a pressure test held for an hour.")
	assert.NotContains(t, text, "Proved on")
}

// What went back as it is opens with what stands against it and its cautions,
// and plans nothing.
func TestReturnedAsItIsOpensWithWhatStandsAgainstIt(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: 11, Dom: 20}
	in := handover()
	in.AsItIs = "the owner does not want it repaired"
	in.Loops[0].Conditions = loops.State{Charge: &loops.Charge{}, Leaking: day, ReturnedAsIs: today}.Conditions()
	letter, err := notify.ComposeHandover(in)
	require.NoError(t, err)
	checkLetter(t, letter)
	_, parts := read(t, letter.Raw)
	text := joined(parts["text/plain"])
	assert.True(t, strings.HasPrefix(text, "Good day Anna Keller, It leaked when the workshop last checked it, on Fri 20 Nov 2026. Leave it switched off"), text)
	intro, _, _ := strings.Cut(text, " The grey tower ")
	assert.Contains(t, intro, "as it is, and we do not say that it is sound: the owner does not want it repaired.")
	assert.Contains(t, intro, egCaution)
	assert.NotContains(t, text, "What comes next")
	assert.NotContains(t, text, "How to look it over")
	sheet, err := notify.PrintHandover(in)
	require.NoError(t, err)
	sameWords(t, sheet.Text, sheet.HTML)
	assert.Contains(t, joined(sheet.Text), intro[len("Good day Anna Keller, "):])
}

// A machine that is to stay off is not asked to be run or to be called fine.
func TestReminderOfALeakAsksForNoLook(t *testing.T) {
	t.Parallel()
	leaking := loops.State{Charge: &loops.Charge{}, Leaking: today}.Conditions()
	in := reminder()
	look, check := sealedItem(), sealedItem()
	check.Task, check.Due, check.Stage = loops.LeakCheckTask, today, loops.StageDue
	look.Conditions, check.Conditions = leaking, leaking
	in.Items = []notify.ReminderItem{look, check}
	letter, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	_, parts := read(t, letter.Raw)
	text := joined(parts["text/plain"])
	assert.Contains(t, text, "It leaked when the workshop last checked it")
	assert.Contains(t, text, "1. Switch it off, pull the plug and leave it off.")
	assert.NotContains(t, text, "all is fine")
	assert.NotContains(t, text, "use it as usual")
	assert.NotContains(t, text, "Let it run for ten minutes")
}

// "All fine" about a machine that something stands against is put down, and
// called fine by nobody.
func TestReceiptOfAllFineKeepsWhatStands(t *testing.T) {
	t.Parallel()
	in := receipt(loops.AllFine)
	c := loops.State{Charge: &loops.Charge{}, Contaminated: &loops.Contamination{Day: today}}.Conditions()[0]
	in.Conditions = []notify.MachineCondition{{Machine: "the grey tower", Condition: c}}
	letter, err := notify.ComposeReceipt(in)
	require.NoError(t, err)
	_, parts := read(t, letter.Raw)
	text := joined(parts["text/plain"])
	assert.NotContains(t, text+letter.Subject, "all looks fine")
	assert.Contains(t, text, "The grey tower The wrong liquid got into what cools it")
	assert.Contains(t, text, "Take care "+egCaution)
	in.Cautions = nil
	_, err = notify.ComposeReceipt(in)
	require.ErrorContains(t, err, "cautions")
}

// history is a random history of a loop, acts that the gate would stop among
// them, and whether ethylene glycol got in and was not drained and rinsed out.
func history(t *rapid.T) (entries []loops.Entry, poison bool) {
	day := loops.Day{Year: 2025, Month: 1, Dom: 10}
	add := func(e loops.Entry) {
		e.ID, e.Day = loops.EntryID(len(entries)+1), day
		entries = append(entries, e)
	}
	fluids := append(chemistry.Fluids(), "")
	drained := false
	for range rapid.IntRange(1, 12).Draw(t, "entries") {
		day = day.AddDays(rapid.IntRange(0, 30).Draw(t, "days"))
		switch rapid.SampledFrom([]string{"fill", "fill", "top-up", "drain", "flush", "read", "leak check", "proof", "hand over", "return"}).Draw(t, "act") {
		case "fill":
			charge := loops.Charge{Fluid: rapid.SampledFrom(fluids).Draw(t, "fluid"), Origin: loops.WorkshopFill, FilledTo: day, Volume: 0.5}
			if charge.Fluid == "" || rapid.Bool().Draw(t, "by others") {
				charge.Origin = rapid.SampledFrom([]loops.Origin{loops.Factory, loops.UnknownOrigin}).Draw(t, "origin")
			}
			switch {
			case charge.Fluid.IsGlycol() && rapid.Bool().Draw(t, "strength known"):
				charge.Mass = new(chemistry.MassFraction(rapid.Float64Range(0.05, 0.55).Draw(t, "mass")))
				charge.MassUncertainty = chemistry.MassFraction(rapid.Float64Range(0, 0.04).Draw(t, "±"))
			case charge.Fluid != "" && !charge.Fluid.IsGlycol():
				charge.Mass = new(chemistry.MassFraction(0))
			}
			poison = poison || charge.Fluid == chemistry.EthyleneGlycol
			drained = false
			add(loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: charge}})
		case "top-up":
			pour := loops.Pour{Liquid: "what is poured", Fluid: rapid.SampledFrom(chemistry.Fluids()).Draw(t, "poured"), Volume: 0.02}
			if pour.Fluid.IsGlycol() {
				pour.Mass = 0.9
			}
			if loops.Fold(entries).Charge == nil {
				continue // nothing to pour into: the act refuses it
			}
			poison = poison || pour.Fluid == chemistry.EthyleneGlycol
			add(loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{pour}}})
		case "drain":
			drained = true
			add(loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{}})
		case "flush":
			poison = poison && !drained
			add(loops.Entry{Kind: loops.KindFlush})
		case "read":
			x := loops.Inspection{Verdict: loops.Good, Mass: new(chemistry.MassFraction(rapid.Float64Range(0, 0.55).Draw(t, "read")))}
			add(loops.Entry{Kind: loops.KindInspection, Inspection: &x})
		case "leak check":
			add(loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: rapid.SampledFrom([]float64{2, 24}).Draw(t, "hours"), Dry: rapid.Bool().Draw(t, "dry")}})
		case "proof":
			x := func(die chemistry.Celsius) loops.Inspection {
				return loops.Inspection{Die: &die, Room: new(chemistry.Celsius(20)), PowerW: new(90.0), Steady: true, Verdict: loops.Good}
			}
			add(loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{Before: x(80), After: x(60)}})
		case "hand over":
			add(loops.Entry{Kind: loops.KindHandover, Handover: &loops.Handover{}})
		case "return":
			add(loops.Entry{Kind: loops.KindReturn, Return: &loops.Return{Why: "as it was"}})
		}
	}
	return entries, poison
}

// construction is a loop as it may be built, its wall known or not.
func construction(t *rapid.T) loops.Loop {
	l := loops.Loop{ID: 1, Tag: "7K3M9Q", Construction: loops.Construction{Volume: 0.5, Sealed: rapid.Bool().Draw(t, "sealed")}}
	switch rapid.IntRange(0, 2).Draw(t, "wall") {
	case 1:
		l.ColdestWall = new(chemistry.Celsius(rapid.Float64Range(-40, 20).Draw(t, "coldest")))
	case 2:
		l.NoFrost = true
	}
	return l
}

// texts are all that an owner reads about the loop: the letter of its going
// back, by mail's words and on paper, and a reminder.
func texts(t *rapid.T, l loops.Loop, entries []loops.Entry, units loops.Units) string {
	machine := loops.Machine{Name: "the grey tower", Kind: loops.Desktop}
	in := handover()
	in.Owner.Units = units
	in.Loops = []notify.HandoverLoop{notify.HandoverLoopOf(words.In(loops.English), l, loops.ViewFor(1, 1, entries))}
	in.Cautions = notify.Cautions([]notify.Inside{{Machine: machine.Name, Loop: l}})
	if !l.State.ReturnedAsIs.IsZero() {
		in.AsItIs = "as it was"
	}
	sheet, err := notify.PrintHandover(in)
	require.NoError(t, err)
	all := sheet.Text
	if l.State.Charge != nil {
		r := reminder()
		item := notify.ItemOf(words.In(loops.English), machine, l, loops.Task{Kind: loops.ServiceCheck, Due: today, Clauses: []loops.Clause{{Text: "It is time.", Source: "this loop's record"}}})
		item.Stage = loops.StageDue
		r.Items, r.Cautions = []notify.ReminderItem{item}, in.Cautions
		paper, err := notify.ComposePrinted(r)
		require.NoError(t, err)
		all += paper.Text
	}
	return joined(all)
}

var permits = regexp.MustCompile(`(?:no colder than|begin to freeze at|Below) (-?\d+(?:\.\d+)?) °([CF])`)

// Whatever was done to a loop, no letter permits a cold at which the warm end
// of its charge already freezes.
func TestNoLetterPermitsAColdThatFreezes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		entries, _ := history(t)
		l := construction(t)
		l.State = loops.Fold(entries)
		units := rapid.SampledFrom([]loops.Units{"", loops.USCustomary}).Draw(t, "units")
		text := texts(t, l, entries, units)
		p := l.Protection()
		for _, found := range permits.FindAllStringSubmatch(text, -1) {
			require.NotNil(t, p, "%s, where nobody knows what it bears", found[0])
			told, err := strconv.ParseFloat(found[1], 64)
			require.NoError(t, err)
			if found[2] == "F" {
				told = (told - 32) * 5 / 9
			}
			require.GreaterOrEqual(t, told, float64(p.WarmEnd())-1e-6, found[0])
		}
		if p == nil || p.Wall == nil && !p.NoFrost {
			require.NotContains(t, text, "no colder")
			require.Contains(t, text, "from frost")
		}
	})
}

// However it was recorded, a loop with ethylene glycol in it is low hazard in
// no text that an owner reads, and is called poisonous.
func TestNoLoopWithPoisonIsCalledLowHazard(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		entries, poison := history(t)
		if !poison {
			return
		}
		l := construction(t)
		l.State = loops.Fold(entries)
		text := texts(t, l, entries, "")
		require.NotContains(t, text, "low hazard")
		require.Contains(t, text, "poisonous")
	})
}

// Worse news takes nothing back: what stood against the loop still stands, what
// was not permitted is not, and what was poisonous is.
func TestWorseNewsNeverReadsBetter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		entries, _ := history(t)
		l := construction(t)
		l.State = loops.Fold(entries)
		if l.State.Charge == nil {
			return
		}
		worse := rapid.SampledFrom([]loops.Entry{
			{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 1}},
			{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "eg", Fluid: chemistry.EthyleneGlycol, Mass: 0.9, Volume: 0.02}}}},
			{Kind: loops.KindInspection, Inspection: &loops.Inspection{Verdict: loops.Failed}},
		}).Draw(t, "worse")
		worse.ID, worse.Day = loops.EntryID(len(entries)+1), entries[len(entries)-1].Day
		then := l
		then.State = loops.Fold(append(slices.Clone(entries), worse))
		before, after := texts(t, l, entries, ""), texts(t, then, append(slices.Clone(entries), worse), "")
		kinds := func(s loops.State) []loops.ConditionKind {
			var out []loops.ConditionKind
			for _, c := range s.Conditions() {
				out = append(out, c.Kind)
			}
			return out
		}
		require.Subset(t, kinds(then.State), kinds(l.State))
		for _, better := range []string{"low hazard", "use it as usual", "How to look it over"} {
			if !strings.Contains(before, better) {
				require.NotContains(t, after, better)
			}
		}
		if strings.Contains(before, "poisonous") {
			require.Contains(t, after, "poisonous")
		}
	})
}

// A rule that was set aside is said as its owner reads it, in their language and
// without the orders that it gives the bench.
func TestRuleSetAsideIsSaidToItsOwner(t *testing.T) {
	t.Parallel()
	english := words.In(loops.English)
	two := chemistry.Compatibility(chemistry.Family{Kind: chemistry.KindBiocide, ID: string(chemistry.Oxidiser)}, chemistry.Family{Kind: chemistry.KindInhibitor, ID: string(chemistry.Azole)}).ID
	for rule, want := range map[string]string{
		"frost":                       "The coolant may freeze where the machine gets coldest",
		"glycol-feeds":                "The coolant is too thin and would grow slime",
		"aluminium+copper-biocide":    "What is in the coolant and a part that it wets do not suit each other",
		two:                           "Two things in the coolant do not suit each other",
		"leak-check":                  "no leak check of 24 hours has stayed dry since the loop was filled",
		"a rule that nobody knows":    "Get a stronger liquid, drain and fill afresh",
		"another, which says nothing": "another, which says nothing",
	} {
		o := loops.SetAside{Overrule: loops.Overrule{Rule: rule}, Text: "Get a stronger liquid, drain and fill afresh."}
		switch rule {
		case "leak-check":
			o.Text = "no leak check of 24 hours has stayed dry since the loop was filled."
		case "another, which says nothing":
			o.Text = ""
		}
		said := notify.RuleForOwner(english, o)
		assert.Equal(t, want, said, rule)
		if strings.Contains(rule, " ") {
			continue
		}
		for _, l := range loops.Languages()[1:] {
			assert.NotEqual(t, said, notify.RuleForOwner(words.In(l), o), "%s in %s", rule, l)
		}
	}
}

// Every rule of chemistry that may be set aside has words for owners, in every
// language.
func TestEveryRuleThatMayBeSetAsideIsTranslated(t *testing.T) {
	t.Parallel()
	for _, r := range chemistry.Rules() {
		if !r.Overrulable {
			continue
		}
		require.NotEmpty(t, r.OwnerText, r.ID)
		for _, l := range loops.Languages()[1:] {
			o := loops.SetAside{Overrule: loops.Overrule{Rule: r.ID}, Text: r.Text}
			assert.NotContains(t, r.OwnerText, notify.RuleForOwner(words.In(l), o), "%s in %s", r.ID, l)
		}
	}
}

// What was filled and never checked for leaks says so, unless that was set aside
// by name, which says it too.
func TestUncheckedIsSaid(t *testing.T) {
	t.Parallel()
	const unchecked = "Since it was last worked on, no check for leaks of full length has ended dry"
	fill := loops.Entry{ID: 1, Kind: loops.KindFill, Day: today.AddDays(-3), Fill: &loops.Fill{Charge: loops.Charge{Fluid: chemistry.PropyleneGlycol, Origin: loops.WorkshopFill, FilledTo: today.AddDays(-3)}}}
	check := func(hours float64, dry bool) loops.Entry {
		return loops.Entry{ID: 2, Kind: loops.KindLeakCheck, Day: today.AddDays(-2), LeakCheck: &loops.LeakCheck{Hours: hours, Dry: dry}}
	}
	back := loops.Entry{ID: 3, Kind: loops.KindReturn, Day: today, Return: &loops.Return{Why: "as it was"}}
	aside := loops.Entry{ID: 3, Kind: loops.KindHandover, Day: today, Handover: &loops.Handover{}, Judged: &loops.Judged{Verdict: chemistry.Care, Overruled: []loops.Overrule{{Rule: "leak-check", Why: "it is awaited"}}}}
	opening := loops.Entry{ID: 2, Kind: loops.KindOpening, Day: today.AddDays(-2), Opening: &loops.Opening{Cause: loops.CauseNone}}
	swap := loops.Entry{ID: 2, Kind: loops.KindSwap, Day: today.AddDays(-2), Swap: &loops.Swap{}}
	later := check(24, true)
	later.ID, later.Day = 4, today.AddDays(-1)
	byOthers := fill
	byOthers.Fill = &loops.Fill{Charge: loops.Charge{Origin: loops.Factory, FilledTo: today.AddDays(-300)}}
	once, since := opening, byOthers
	once.ID, once.Day, since.ID = 1, today.AddDays(-9), 2
	for name, tt := range map[string]struct {
		history []loops.Entry
		says    bool
	}{
		"never":            {[]loops.Entry{fill, back}, true},
		"too short":        {[]loops.Entry{fill, check(2, true), back}, true},
		"dry":              {[]loops.Entry{fill, check(24, true), back}, false},
		"leaking":          {[]loops.Entry{fill, check(24, false), back}, false},
		"set aside":        {[]loops.Entry{fill, aside}, false},
		"filled by others": {[]loops.Entry{byOthers, back}, false},

		"opened":                   {[]loops.Entry{byOthers, opening, back}, true},
		"opened after a dry check": {[]loops.Entry{fill, check(24, true), opening, back}, true},
		"opened, then dry":         {[]loops.Entry{byOthers, opening, later}, false},
		"swapped":                  {[]loops.Entry{byOthers, swap, back}, true},
		"opened, filled by others": {[]loops.Entry{once, since, back}, false},
	} {
		l := loops.Loop{Tag: "7K3M9Q", State: loops.Fold(tt.history)}
		said := notify.HandoverLoopOf(words.In(loops.English), l, loops.ViewFor(1, 1, tt.history)).HowItStands(words.In(loops.English))
		assert.Equal(t, tt.says, strings.Contains(strings.Join(said, " "), unchecked), name)
	}
}

// Why a machine once went back without a proof is no reason of a later day.
func TestTheReasonOfAnOldHandOverIsNotTodays(t *testing.T) {
	t.Parallel()
	fill := func(ago int) loops.Entry {
		return loops.Entry{Kind: loops.KindFill, Day: today.AddDays(-ago), Fill: &loops.Fill{Charge: loops.Charge{Fluid: chemistry.PropyleneGlycol, Origin: loops.WorkshopFill, FilledTo: today.AddDays(-ago)}}}
	}
	over := loops.Entry{Kind: loops.KindHandover, Day: today.AddDays(-300), Handover: &loops.Handover{Unproved: "the bench was not free"}}
	for name, tt := range map[string]struct {
		since []loops.Entry
		says  bool
	}{
		"since then nothing": {nil, true},
		"taken in":           {[]loops.Entry{{Kind: loops.KindIntake, Intake: &loops.Intake{}}}, false},
		"filled":             {[]loops.Entry{fill(0)}, false},
		"swapped":            {[]loops.Entry{{Kind: loops.KindSwap, Swap: &loops.Swap{}}}, false},
		"returned":           {[]loops.Entry{{Kind: loops.KindReturn, Return: &loops.Return{Why: "as it was"}}}, false},
	} {
		history := append([]loops.Entry{fill(301), over}, tt.since...)
		for i := range history {
			history[i].ID = loops.EntryID(i + 1)
			if history[i].Day.IsZero() {
				history[i].Day = today
			}
		}
		l := loops.Loop{Tag: "7K3M9Q", State: loops.Fold(history)}
		said := notify.HandoverLoopOf(words.In(loops.English), l, loops.ViewFor(1, 1, history)).HowItStands(words.In(loops.English))
		assert.Equal(t, tt.says, strings.Contains(strings.Join(said, " "), "the bench was not free"), name)
	}
}

// An owner reads of their own consent as theirs, in every language.
func TestTheOwnersConsentIsSaidToThem(t *testing.T) {
	t.Parallel()
	o := loops.SetAside{Overrule: loops.Overrule{Rule: "opening-consent"}, Text: "the owner has not agreed to the loop being opened."}
	said := map[string]bool{}
	for _, l := range loops.Languages() {
		said[notify.RuleForOwner(words.In(l), o)] = true
	}
	assert.True(t, said["you had not agreed to the loop being opened"], said)
	assert.Len(t, said, len(loops.Languages()))
}

// The letter of a machine going back says how much is in the loop, not what went in
// before some of it was lost.
func TestLetterSaysHowMuchIsInIt(t *testing.T) {
	t.Parallel()
	history := []loops.Entry{
		{ID: 1, Kind: loops.KindFill, Day: today.AddDays(-3), Fill: &loops.Fill{Charge: loops.Charge{
			Fluid: chemistry.PropyleneGlycol, Origin: loops.WorkshopFill, Volume: 0.5, FilledTo: today.AddDays(-3),
		}}},
		{ID: 2, Kind: loops.KindInspection, Day: today, Inspection: &loops.Inspection{Missing: new(chemistry.Litre(0.04))}},
	}
	l := loops.Loop{Tag: "7K3M9Q", State: loops.Fold(history)}
	assert.InDelta(t, 0.46, float64(notify.HandoverLoopOf(words.In(loops.English), l, loops.ViewFor(1, 1, history)).Volume), 1e-9)
}
