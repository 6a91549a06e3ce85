// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// historyLine is one entry of a loop's history in words.
type historyLine struct {
	ID    loops.EntryID
	Day   loops.Day
	Kind  loops.EntryKind
	Words string
	Note  string
	By    string
	// Struck says why the entry no longer counts; empty where it does.
	Struck string
	Photos []string // hashes
}

// historyOf writes a history, the newest day first.
func historyOf(history []loops.Entry) []historyLine {
	struck := map[loops.EntryID]string{}
	for _, e := range history {
		if e.Kind == loops.KindCorrection {
			struck[e.Correction.Strikes] = fmt.Sprintf("struck out by entry %d: %s", e.ID, e.Correction.Why)
		}
	}
	for _, e := range loops.Standing(history) {
		delete(struck, e.ID) // a correction that was itself struck out strikes nothing
	}
	lines := make([]historyLine, 0, len(history))
	for _, e := range history {
		lines = append(lines, historyLine{e.ID, e.Day, e.Kind, entryWords(e), e.Note, e.By, struck[e.ID], e.PhotoHashes()})
	}
	slices.SortStableFunc(lines, func(a, b historyLine) int {
		if c := b.Day.Compare(a.Day); c != 0 {
			return c
		}
		return int(b.ID) - int(a.ID)
	})
	return lines
}

// entryWords says what was done, with its figures.
func entryWords(e loops.Entry) string {
	switch e.Kind {
	case loops.KindIntake:
		return phrases("Taken in"+prefixed(". The owner says: ", strings.TrimSuffix(e.Intake.Complaint, ".")), prefixed("seen: ", strings.TrimSuffix(e.Intake.Symptom, ".")), photoCount(len(e.Intake.Photos)))
	case loops.KindInspection:
		return readings(e.Inspection)
	case loops.KindOpening:
		return openingWords(e.Opening)
	case loops.KindClean:
		return "Cleaned."
	case loops.KindFlush:
		return "Flushed."
	case loops.KindFill:
		return "Filled: " + chargeLine(&e.Fill.Charge) + "."
	case loops.KindTopUp:
		return topUpWords(e.TopUp)
	case loops.KindDose:
		return doseWords(e.Dose)
	case loops.KindDrain:
		return phrases("Drained, "+quantity(e.Drain.Left)+" left inside", prefixed("used liquid: ", e.Drain.Disposal))
	case loops.KindLeakCheck:
		found := "dry"
		if !e.LeakCheck.Dry {
			found = "not dry"
		}
		return "Leak check over " + figure(e.LeakCheck.Hours, "h") + ": " + found + "."
	case loops.KindProof:
		return "Before the work: " + readings(&e.Proof.Before) + " After it: " + readings(&e.Proof.After)
	}
	return paperWords(e)
}

// paperWords says what was agreed or decided: entries without bench work.
func paperWords(e loops.Entry) string {
	switch e.Kind {
	case loops.KindHandover:
		return "Handed over. " + consentWords(e.Handover.Consent)
	case loops.KindAnswer:
		words := "The owner answers: " + e.Answer.Said()
		if e.Answer.Photo != "" {
			words += ", with a photo"
		}
		words += "."
		if e.Answer.Words != "" {
			words += " “" + e.Answer.Words + "”"
		}
		return words
	case loops.KindCorrection:
		return fmt.Sprintf("Entry %d is wrong: %s", e.Correction.Strikes, e.Correction.Why)
	case loops.KindTransfer:
		return fmt.Sprintf("Went from owner number %d to owner number %d.", e.Transfer.From, e.Transfer.To)
	case loops.KindRetirement:
		words := "Left service: " + string(e.Retirement.Reason)
		if w := e.Retirement.StatedRatingW; w != nil {
			words += ", its stated rating is " + figure(*w, "W")
		}
		return words + "."
	case loops.KindSetting:
		return settingWords(e.Setting)
	}
	return string(e.Kind)
}

func readings(x *loops.Inspection) string {
	var parts []string
	temperature := func(what string, c *chemistry.Celsius) {
		if c != nil {
			parts = append(parts, what+" "+quantity(*c))
		}
	}
	plain := func(what string, v *float64, unit string) {
		if v != nil {
			parts = append(parts, strings.TrimSpace(what+" "+figure(*v, unit)))
		}
	}
	temperature("die", x.Die)
	temperature("coolant in", x.CoolantIn)
	temperature("coolant out", x.CoolantOut)
	temperature("room", x.Room)
	plain("heat", x.PowerW, "W")
	plain("pump", x.PumpW, "W")
	if x.Mass != nil {
		parts = append(parts, fmt.Sprintf("strength %.1f ± %.1f\u00a0mass\u00a0%%", x.Mass.Percent(), x.MassUncertainty.Percent()))
	}
	plain("pH", x.PH, "")
	if x.Missing != nil {
		parts = append(parts, quantity(*x.Missing)+" below the fill mark")
	}
	if x.Weight != nil {
		parts = append(parts, "weight "+quantity(*x.Weight))
	}
	plain("hour meter", x.RunningHours, "h")
	if x.Noise != "" {
		parts = append(parts, "noise: "+x.Noise)
	}
	words := "Judged " + string(x.Verdict)
	if x.Verdict == loops.NotJudged {
		words = "Not judged"
	}
	if len(parts) == 0 {
		return words + ", nothing read."
	}
	return words + ": " + strings.Join(parts, ", ") + "."
}

func openingWords(x *loops.Opening) string {
	severity := ""
	if x.Severity != nil {
		severity = fmt.Sprintf("step %d of 4, %s", int(*x.Severity), x.Severity)
	}
	failed := ""
	if !x.FailedOn.IsZero() {
		failed = "failed in service on " + x.FailedOn.Long()
	}
	liquid := strings.TrimSpace(string(x.Colour) + " " + string(x.Clarity))
	residues := make([]string, 0, len(x.Residues))
	for _, r := range x.Residues {
		residues = append(residues, r.String())
	}
	return phrases("Opened, cause: "+string(x.Cause), failed, severity, prefixed("liquid ", liquid), prefixed("smell ", string(x.Smell)),
		strings.Join(residues, ", "), x.Words, photoCount(len(x.Photos)))
}

// photoCount says how many photos there are; nothing where there are none.
func photoCount(n int) string {
	if n == 0 {
		return ""
	}
	return count(n, "photo")
}

func topUpWords(x *loops.TopUp) string {
	parts := make([]string, 0, len(x.Poured)+2)
	if x.Drained > 0 {
		parts = append(parts, quantity(x.Drained)+" taken out"+prefixed(", used liquid: ", x.Disposal))
	}
	for _, pour := range x.Poured {
		strength := ""
		if pour.Fluid.IsGlycol() {
			strength = " (" + quantity(pour.Mass) + " " + pour.Fluid.Name() + ")"
		}
		parts = append(parts, quantity(pour.Volume)+" of "+pour.Liquid+strength+fromContainer(pour.Container))
	}
	if x.Missing > 0 {
		parts = append(parts, quantity(x.Missing)+" still below the fill mark")
	}
	return "Topped up: " + strings.Join(parts, ", ") + "."
}

func doseWords(x *loops.Dose) string {
	a := x.Additive
	dose := ""
	if a.DoseMLPerL > 0 {
		dose = figure(a.DoseMLPerL, "ml per litre of coolant")
	}
	life := ""
	if a.LifeMonths > 0 {
		life = "its label gives it " + count(a.LifeMonths, "month")
	}
	return phrases("Dosed "+string(x.Role)+prefixed(" ", a.Family), a.Product, dose, life)
}

func settingWords(x *loops.Setting) string {
	switch {
	case x.Paused:
		return phrases("Paused: "+string(x.Task), x.Why)
	case x.IntervalMonths > 0:
		return phrases("Interval of "+string(x.Task)+" set to "+count(x.IntervalMonths, "month"), x.Why)
	}
	return phrases("Back to the policy: "+string(x.Task), x.Why)
}

func consentWords(c loops.Consent) string {
	yes := func(ok bool, what string) string {
		if ok {
			return what + " yes"
		}
		return what + " no"
	}
	return "Consent: " + strings.Join([]string{yes(c.Mail, "mail"), yes(c.Opening, "opening"), yes(c.Photos, "photos")}, ", ") + "."
}

// phrases joins what is not empty into one sentence.
func phrases(parts ...string) string {
	kept := slices.DeleteFunc(slices.Clone(parts), func(s string) bool { return s == "" })
	text := strings.Join(kept, "; ")
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// prefixed puts a word before text that is not empty.
func prefixed(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}
