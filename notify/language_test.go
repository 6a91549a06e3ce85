// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
)

// lettersIn composes a letter of every kind in a language.
func lettersIn(t *testing.T, l loops.Language) map[string]notify.Letter {
	t.Helper()
	letters := map[string]notify.Letter{}
	put := func(name string, letter notify.Letter, err error) {
		require.NoError(t, err, name)
		letters[name] = letter
	}
	for name, in := range map[string]notify.ReminderInput{"reminder": reminder(), "reminder-several": several(), "reminder-grouped": grouped()} {
		in = reminderIn(l, in)
		letter, err := notify.ComposeReminder(in)
		put(name, letter, err)
		for i := range in.Items {
			in.Items[i].Stage = loops.StageLast
			in.Items[i].Conditions = conditions()
		}
		in.Instead = notify.Earlier{MessageID: in.MessageID, Day: today}
		letter, err = notify.ComposeReminder(in)
		put(name+" the last", letter, err)
	}
	back := handoverIn(l)
	letter, err := notify.ComposeHandover(back)
	put("handover", letter, err)
	back.Loops[0].Conditions = conditions()
	back.AsItIs = "The owner wants it back."
	letter, err = notify.ComposeHandover(back)
	put("as it is", letter, err)
	back.AsItIs, back.Welcome = "", true
	letter, err = notify.ComposeHandover(back)
	put("welcome", letter, err)
	for _, kind := range loops.AnswerKinds() {
		in := receipt(kind)
		in.Owner.Language, in.Answer.On = l, today.AddDays(3)
		letter, err := notify.ComposeReceipt(in)
		put("receipt "+string(kind), letter, err)
	}
	return letters
}

// inside is what a loop holds, in the words of a language.
func inside(l loops.Language, fluid chemistry.Fluid) string {
	mass := chemistry.MassFraction(0.4)
	return notify.ChargeInWords(words.In(l), loops.Charge{Fluid: fluid, Mass: &mass})
}

func handoverIn(l loops.Language) notify.HandoverInput {
	in := handover()
	in.Owner.Language, in.Loops[0].Charge = l, inside(l, in.Loops[0].Fluid)
	return in
}

// reminderIn is the reminder as it is written from what is on record.
func reminderIn(l loops.Language, in notify.ReminderInput) notify.ReminderInput {
	in.Owner.Language = l
	for i := range in.Items {
		item := &in.Items[i]
		about, _ := loops.AboutTask(item.Task)
		item.Charge = inside(l, item.Fluid)
		item.Reason = about.OwnerEvery(loops.Interval{Months: 3})
		item.Source = loops.Clause{Source: "common practice, no source"}.SourceForOwner()
	}
	return in
}

func conditions() []loops.Condition {
	state := loops.State{Leaking: today, Failed: today, ReturnedAsIs: today, Contaminated: &loops.Contamination{Day: today}}
	return state.Conditions()
}

// A letter is written for a terminal of 72 columns in every language, and shows
// no sentence that could not be put together.
func TestLettersKeepTheirWidthInEveryLanguage(t *testing.T) {
	t.Parallel()
	for _, l := range loops.Languages() {
		for name, letter := range lettersIn(t, l) {
			_, parts := read(t, letter.Raw)
			assert.Contains(t, parts["text/html"], `<html lang="`+string(l)+`">`, name)
			for line := range strings.Lines(parts["text/plain"]) {
				line = strings.TrimRight(line, "\r\n")
				if strings.Contains(strings.TrimSpace(line), " ") {
					assert.LessOrEqual(t, utf8.RuneCountInString(line), 72, "%s %s: %s", l, name, line)
				}
			}
			for _, text := range []string{letter.Subject, parts["text/plain"], parts["text/html"]} {
				assert.NotContains(t, text, "%!", "%s %s", l, name)
				assert.NotRegexp(t, `%\[\d\]`, text, "%s %s", l, name)
			}
		}
	}
}

// What is wrong with a machine, what is due and what an owner is to do is in the
// owner's language; only the cautions, for which no proofread wording is at
// hand, stand in English, and the letter says so.
func TestALetterIsInItsLanguage(t *testing.T) {
	t.Parallel()
	for _, l := range loops.Languages()[1:] {
		ws := words.In(l)
		hello, _, _ := strings.Cut(ws.Say("greeting", "|"), "|")
		for name, letter := range lettersIn(t, l) {
			name += " " + string(l)
			text := " " + squeezed(withoutCautions(t, letter))
			for _, english := range []string{" the cooling", " you ", " we ", " and the ", " is due", " was due", "Good day", "Kind regards", "Take care", " on Tue ", " Nov 2026 ", "Leave it", "by mass"} {
				assert.NotContains(t, text, english, name)
			}
			assert.Contains(t, text, " "+hello, name)
			assert.Contains(t, text, ws.Say("closing"), name)
		}
	}
}

// withoutCautions is the text of a letter without what stays in English.
func withoutCautions(t *testing.T, letter notify.Letter) string {
	t.Helper()
	_, parts := read(t, letter.Raw)
	text := parts["text/plain"]
	for _, caution := range several().Cautions {
		text = regexp.MustCompile(strings.Join(strings.Fields(regexp.QuoteMeta(caution)), `\s+`)).ReplaceAllString(text, "")
	}
	return text
}

// A line never ends before a mark that French sets apart by a space, nor do other
// spaces stand there: the one that does is narrow and does not break.
func TestNoLineEndsBeforeAFrenchMark(t *testing.T) {
	t.Parallel()
	kept := 0
	for name, letter := range lettersIn(t, loops.French) {
		text := regexp.MustCompile(`https://\S+|when it is tilted:`).ReplaceAllString(withoutCautions(t, letter), "")
		assert.NotRegexp(t, `[^\x{202f}][:;!?%»]|«[^\x{202f}]`, text, name)
		kept += strings.Count(text, "\u202f:")
	}
	assert.Greater(t, kept, 50, "the space is in what arrives")
}

func mustReminder(t *testing.T, in notify.ReminderInput) notify.Letter {
	t.Helper()
	letter, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	return letter
}

// The owner's choice comes first, then the workshop's, then English.
func TestWhoseLanguage(t *testing.T) {
	t.Parallel()
	in := reminder()
	assert.Contains(t, mustReminder(t, in).Subject, " by Thu 3 Dec 2026")
	in.Workshop.Language = loops.German
	assert.Contains(t, mustReminder(t, in).Subject, " bis Do., 3. Dez. 2026")
	in.Owner.Language = loops.English
	assert.Contains(t, mustReminder(t, in).Subject, " by Thu 3 Dec 2026")
	in.Owner.Language = ""
	printed, err := notify.ComposePrinted(in)
	require.NoError(t, err)
	assert.Contains(t, printed.Text, "Guten Tag, Anna Keller,")
	morningLetter := morning()
	morningLetter.Workshop.Language = loops.German
	letter, err := notify.ComposeMorning(morningLetter)
	require.NoError(t, err)
	assert.NotContains(t, string(letter.Raw), "Guten", "our own list is in English")
}

func TestFiguresInGerman(t *testing.T) {
	t.Parallel()
	in := handover()
	in.Owner.Language = loops.German
	sheet, err := notify.PrintHandover(in)
	require.NoError(t, err)
	assert.Contains(t, sheet.Text, "Unter -22,7 °C kann es gefrieren")
	in.Owner.Units = loops.USCustomary
	sheet, err = notify.PrintHandover(in)
	require.NoError(t, err)
	assert.Contains(t, sheet.Text, "Unter -8,8 °F kann es gefrieren")
	assert.Equal(t, "-9,4 ± 1,8 °F", notify.InOwnersUnits("-23,0 ± 1,0 °C", loops.USCustomary))
	assert.Equal(t, "-9.4 ± 1.8 °F", notify.InOwnersUnits("-23.0 ± 1.0 °C", loops.USCustomary))
	assert.Equal(t, "-23,0 °C", notify.InOwnersUnits("-23,0 °C", ""))
}

func TestChargeInGerman(t *testing.T) {
	t.Parallel()
	mass := chemistry.MassFraction(0.4)
	c := loops.Charge{Fluid: chemistry.EthyleneGlycol, Mass: &mass, MassKnown: loops.Known{How: loops.OnLabel}, Additives: []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Product: "Clear"}}}}
	assert.Equal(t, "40 % Ethylenglykol in Wasser, nach Masse (laut Etikett), mit Biozid unbekannter Art", notify.ChargeInWords(words.In(loops.German), c))
}
