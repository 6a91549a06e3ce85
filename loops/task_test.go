// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func TestEveryTaskHasItsTexts(t *testing.T) {
	t.Parallel()
	for _, a := range Tasks() {
		for _, other := range []TaskKind{a.Sealed, a.BroughtBy} {
			if other != "" {
				assert.Contains(t, TaskKinds(), other)
			}
		}
		for _, text := range []string{a.OwnerTitle, a.OwnerNeeds, a.OwnerThen, a.ownerEvery} {
			for _, jargon := range jargon {
				assert.NotContains(t, text, jargon, a.Kind)
			}
		}
	}
}

// A kind added to the table is spoken of everywhere: no text is lacking, and none
// prints a place that nothing filled.
func TestEveryTaskSaysEverything(t *testing.T) {
	t.Parallel()
	for _, about := range Tasks() {
		row := reflect.ValueOf(about)
		for i := range row.NumField() {
			if field := row.Type().Field(i); row.Field(i).Kind() == reflect.String && field.Name != "BroughtBy" && field.Name != "Sealed" {
				assert.NotEmpty(t, row.Field(i).String(), "%s: %s", about.Kind, field.Name)
				assert.NotContains(t, row.Field(i).String(), "%", "%s: %s", about.Kind, field.Name)
			}
		}
		assert.NotContains(t, about.Every(Interval{Months: 3})+about.OwnerEvery(Interval{Months: 1}), "%")
	}
}

// jargon is what no owner has to read.
var jargon = []string{"coolant", "loop", "inhibitor", "biocide", "charge", "glycol", "reservoir", "cold plate", "pH", "contaminated", "unproved"}

func TestConditionsSayWhatToDoWithoutJargon(t *testing.T) {
	t.Parallel()
	day := Day{Year: 2026, Month: 3, Dom: 1}
	s := State{
		Charge: &Charge{Origin: WorkshopFill, FilledTo: day}, Contaminated: &Contamination{Day: day}, Leaking: day, Failed: day,
		Cause: CauseOther, ReturnedAsIs: day,
	}
	all := s.Conditions()
	var words []ConditionKind
	for _, c := range all {
		words = append(words, c.Kind)
		assert.NotEmpty(t, c.Text)
		assert.NotEmpty(t, c.OwnerText)
		for _, word := range jargon {
			assert.NotContains(t, c.OwnerText, word, c.Kind)
		}
	}
	assert.Equal(t, []ConditionKind{IsContaminated, IsLeaking, IsFailed, IsReturned, IsUnproved}, words, "the worst first")
	assert.True(t, KeptOff(all))
	assert.False(t, KeptOff(all[3:]))
	s.Retired = day
	assert.Empty(t, s.Conditions())
	assert.Empty(t, State{}.Conditions())
}

func TestHowIsOneWord(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, h := range Hows() {
		assert.Regexp(t, `^[a-z]+$`, h.Word())
		assert.False(t, seen[h.Word()])
		seen[h.Word()] = true
	}
	assert.Empty(t, How("").Word())
}

// What is filled on top of another liquid, or of poison that was not rinsed
// out, is not what its label says, whoever filled it.
func TestAFillOnTopOfAnotherLiquidIsContaminated(t *testing.T) {
	t.Parallel()
	fill := func(id EntryID, fluid string, origin Origin) Entry {
		return Entry{ID: id, Kind: KindFill, Day: Day{Year: 2026, Month: 3, Dom: int(id)}, Fill: &Fill{Charge: Charge{
			Fluid: chemistry.Fluid(fluid), Origin: origin, FilledTo: Day{Year: 2026, Month: 3, Dom: int(id)}}}}
	}
	drain := Entry{ID: 2, Kind: KindDrain, Day: Day{Year: 2026, Month: 3, Dom: 2}, Drain: &Drain{}}
	again := drain
	again.ID, again.Day.Dom = 3, 3
	flush := Entry{ID: 3, Kind: KindFlush, Day: Day{Year: 2026, Month: 3, Dom: 3}}
	for name, tt := range map[string]struct {
		history []Entry
		spoiled bool
	}{
		"not drained":                   {[]Entry{fill(1, "eg", WorkshopFill), fill(4, "pg", WorkshopFill)}, true},
		"not drained, by others":        {[]Entry{fill(1, "eg", WorkshopFill), fill(4, "pg", UnknownOrigin)}, true},
		"not drained, the same":         {[]Entry{fill(1, "pg", WorkshopFill), fill(4, "pg", WorkshopFill)}, false},
		"drained, not rinsed":           {[]Entry{fill(1, "eg", WorkshopFill), drain, fill(4, "pg", WorkshopFill)}, true},
		"drained, not rinsed, by other": {[]Entry{fill(1, "eg", WorkshopFill), drain, fill(4, "pg", Factory)}, true},
		"poison under water":            {[]Entry{fill(1, "eg", WorkshopFill), drain, fill(4, "water", WorkshopFill)}, true},
		"drained twice, not rinsed":     {[]Entry{fill(1, "eg", WorkshopFill), drain, again, fill(4, "pg", WorkshopFill)}, true},
		"on top of nobody knows what":   {[]Entry{fill(1, "", UnknownOrigin), fill(4, "pg", WorkshopFill)}, true},
		"found out what it is":          {[]Entry{fill(1, "", UnknownOrigin), fill(4, "pg", Factory)}, false},
		"drained and rinsed":            {[]Entry{fill(1, "eg", WorkshopFill), drain, flush, fill(4, "pg", WorkshopFill)}, false},
	} {
		s := Fold(tt.history)
		assert.Equal(t, tt.spoiled, s.Contaminated != nil, name)
		assert.Equal(t, tt.spoiled, s.Charge.Fluid == "", name)
	}
}

func TestRulesSetAsideAreKeptWithTheCharge(t *testing.T) {
	t.Parallel()
	judged := func(id EntryID, kind EntryKind, rule string) Entry {
		e := Entry{ID: id, Kind: kind, Day: Day{Year: 2026, Month: 3, Dom: int(id)}, Judged: &Judged{
			Verdict: "care", Reasons: []JudgedReason{{rule, "stop", "what " + rule + " says"}}, Overruled: []Overrule{{Rule: rule, Why: "because", By: "mo"}}}}
		if kind == KindFill {
			e.Fill = &Fill{}
		}
		return e
	}
	history := []Entry{judged(1, KindDose, "old"), judged(2, KindFill, "overfull"), judged(3, KindHandover, "leak-check")}
	all := SetAsideSinceFill(history)
	require.Len(t, all, 2)
	assert.Equal(t, "overfull", all[0].Rule)
	assert.Equal(t, "what leak-check says", all[1].Text)
	assert.Equal(t, "because", all[1].Why)
	assert.Equal(t, KindHandover, all[1].Act)
	swap := judged(4, KindSwap, "cooler")
	swap.Swap = &Swap{}
	all = SetAsideSinceFill(append(history, swap))
	require.Len(t, all, 1, "what was set aside for the old cooler went with it")
	assert.Equal(t, "cooler", all[0].Rule)
}
