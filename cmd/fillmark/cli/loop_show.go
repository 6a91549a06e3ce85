// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/inspection/triage"
	"fillmark/schedule"
)

func (a *app) loopShowCommand() *cobra.Command {
	var whole bool
	var kinds []loops.EntryKind
	cmd := &cobra.Command{
		Use: "show TAG", Short: "Show one loop: charge, protection, plan, history",
		Example: `  fillmark loop show 7K3QXW
  fillmark loop show 7K3QXW --history                          # with all details
  fillmark loop show 7K3QXW --kind fill --kind weighing        # of these alone`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			file, err := ask[workshop.File](cmd.Context(), a, "GET", "/api/v1/loops/"+string(tag), nil)
			if err != nil {
				return err
			}
			struck := struckIn(file.History)
			if len(kinds) > 0 {
				file.History = append([]loops.Entry{}, slices.DeleteFunc(file.History, func(e loops.Entry) bool { return !slices.Contains(kinds, e.Kind) })...)
			}
			return a.print(file, func(p *printer) {
				if whole || len(kinds) > 0 {
					printHistory(p, file, struck)
					return
				}
				printFile(p, file)
			})
		},
	}
	cmd.Flags().BoolVar(&whole, "history", false, "print everything recorded about it, with all details, the oldest first")
	cmd.Flags().Var(&listFlag[loops.EntryKind]{target: &kinds, parse: choice("kind", loops.EntryKinds()), kind: "KIND"}, "kind", "of the history only entries of this kind, with all details; repeat")
	return cmd
}

func printFile(p *printer, file workshop.File) {
	printBuilt(p, file)
	printProtection(p, file.Protection, file.Loop.State.Charge)
	printScale(p, file.Scale)
	printReadings(p, file.Readings)
	printPlan(p, file.Loop.Plan)
	p.line("History")
	p.table([]string{"day", "no.", "what", "by"}, len(file.History), func(i int) []string {
		e := file.History[len(file.History)-1-i]
		return []string{e.Day.Long(), fmt.Sprint(e.ID), string(e.Kind), e.By}
	})
}

// printBuilt says what a loop is and what is in it.
func printBuilt(p *printer, file workshop.File) {
	l := file.Loop
	p.line("%s  %s, %s, %s (revision %d)", l.Tag, file.Machine.Name, file.Machine.Kind, file.Owner.Name, l.Revision)
	p.line("%s loop, %s: %s", loops.Capital(sealedWord(l)), l.Volume, contentWords(l.State))
	if !l.State.Retired.IsZero() {
		p.line("Retired on %s.", l.State.Retired.Long())
	}
	for _, c := range l.State.Conditions() {
		p.paragraph("! ", "  ", c.Text)
	}
	p.paragraph("Built: ", "  ", strings.Join(l.Construction.Words(), "; ")+".")
}

// printHistory prints a history with all details.
func printHistory(p *printer, file workshop.File, struck map[loops.EntryID]bool) {
	printBuilt(p, file)
	if len(file.History) == 1 {
		p.line("History: 1 entry")
	} else {
		p.line("History: %d entries, the oldest first", len(file.History))
	}
	for _, e := range file.History {
		printEntry(p, e, struck[e.ID])
	}
}

func printProtection(p *printer, protection *loops.Protection, charge *loops.Charge) {
	if protection == nil {
		why := "the strength is not on record."
		if charge != nil && charge.Mass != nil {
			if _, err := chemistry.FreezePoint(charge.Fluid, *charge.Mass); err != nil {
				why = err.Error() + "."
			}
		}
		p.paragraph("", "", "Freeze point not known: "+why)
		return
	}
	words := fmt.Sprintf("First ice at %.1f ± %.1f °C (k = 2)", float64(protection.FreezePoint), float64(protection.Uncertainty))
	switch {
	case protection.NoFrost:
		words += "; nothing in this loop can freeze."
	case protection.Wall == nil:
		words += "; the coldest wall is NOT KNOWN: say it with fillmark loop edit --wall, or --no-frost where nothing can freeze."
	case protection.Holds:
		words += fmt.Sprintf("; the coldest wall is %s: it holds.", *protection.Wall)
	default:
		words += fmt.Sprintf("; the coldest wall is %s: IT DOES NOT HOLD.", *protection.Wall)
	}
	p.paragraph("", "", words)
}

func printPlan(p *printer, plan loops.Plan) {
	if len(plan.Tasks) == 0 {
		p.line("Nothing is planned: the loop is not in service.")
		return
	}
	p.line("Plan, by policy %s", plan.PolicyVersion)
	for _, t := range plan.Tasks {
		state := ""
		if t.Paused {
			state = " (paused)"
		}
		p.line("  %s  %s%s", t.Due.Long(), t.Kind, state)
		for i, c := range t.Clauses {
			lead := "      "
			if i == 0 {
				lead = "    ▐ "
			}
			p.paragraph(lead, "      ", fmt.Sprintf("%s: %s [%s]", c.Day.Long(), c.Text, sourceAndGrade(c)))
		}
	}
}

// printScale says what the weighings tell.
func printScale(p *printer, s *loops.WeighingSummary) {
	if s == nil {
		return
	}
	if s.Warning != "" {
		p.paragraph("By weight: ", "  ", s.Warning+".")
	}
	if s.Amounts != nil {
		for _, x := range []struct {
			what   string
			amount *loops.Amount
		}{{"left in after draining", s.Amounts.Left}, {"put in", s.Amounts.Added}, {"in the loop", s.Amounts.Charge}} {
			if x.amount != nil {
				p.line("By weight %s: %.0f ± %.0f g, %.0f ± %.0f ml (k = 2).", x.what, x.amount.Mass.Grams(), x.amount.MassUncertainty.Grams(),
					x.amount.Volume.Millilitres(), x.amount.VolumeUncertainty.Millilitres())
			}
		}
	}
	if s.Loss != nil {
		p.line("Lost since %s: %.0f ± %.0f g, which is %.0f ± %.0f g a year.", s.Loss.From.Long(), s.Loss.Lost.Grams(), s.Loss.Uncertainty.Grams(),
			s.Loss.PerYear.Grams(), s.Loss.PerYearUncertainty.Grams())
	}
}

// printReadings says what the temperatures tell, and what they cannot.
func printReadings(p *printer, r *schedule.Readings) {
	if r == nil {
		return
	}
	p.line("What the readings say")
	if last := r.Last; last != nil {
		p.line("  Read on %s (k = 2)", last.Day.Long())
		for _, l := range last.Lines() {
			p.line("    %-22s %s", l.What, l.Value)
		}
		printCauses(p, last.Triage)
	}
	for _, t := range r.Trends {
		p.paragraph("  ", "    ", fmt.Sprintf("Trend of the %s, %s: %s", t.Name, plural(t.Readings, "reading"), t.Sentence()))
	}
	if r.Proof != nil {
		p.paragraph("  ", "    ", "Repair of "+r.Proof.Day.Long()+": "+r.Proof.Sentence())
	}
	p.line("  Cannot be told")
	if r.Last != nil {
		for _, x := range r.Last.Refused {
			p.paragraph("    ", "      ", x.Error()+".")
		}
	}
	for _, c := range r.Cannot {
		p.paragraph("    ", "      ", c)
	}
}

// printCauses prints what the last reading alone makes of it.
func printCauses(p *printer, a *triage.Answer) {
	if a == nil {
		return
	}
	p.paragraph("    ", "      ", a.Text)
	p.paragraph("    next: ", "      ", fmt.Sprintf("%s (%.0f min); fillmark triage takes what it shows", a.Next.Do, a.Next.Minutes))
}

// struckIn tells which entries do not count, by the correction that says so.
func struckIn(history []loops.Entry) map[loops.EntryID]bool {
	standing := loops.Standing(history)
	struck := map[loops.EntryID]bool{}
	for _, e := range history {
		struck[e.ID] = e.Kind != loops.KindCorrection && !slices.ContainsFunc(standing, func(s loops.Entry) bool { return s.ID == e.ID })
	}
	return struck
}

func printEntry(p *printer, e loops.Entry, struck bool) {
	mark := ""
	if struck {
		mark = "  STRUCK OUT"
	}
	p.line("▐ %d  %s  %s  by %s%s", e.ID, e.Day.Long(), e.Kind, e.By, mark)
	if words := web.EntryWords(e); words != "" {
		p.paragraph("    ", "    ", words)
	}
	if e.Note != "" {
		p.paragraph("    note: ", "    ", e.Note)
	}
}

// orSheet lets the command that ticks a step print the bench sheet where no
// step is named: what there is to tick.
func (a *app) orSheet(cmd *cobra.Command) {
	cmd.Use = "step TAG [--sheet-step STEP]"
	cmd.Short = "Print the bench sheet of the wet work, or tick a step of it"
	cmd.Long = `Print the bench sheet of the wet work. With --sheet-step tick that step of it, or
leave it out and say why.`
	cmd.Example = "  fillmark loop step 7K3QXW\n" + cmd.Example
	tick := cmd.RunE
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		said := false
		cmd.LocalNonPersistentFlags().VisitAll(func(f *pflag.Flag) { said = said || f.Changed })
		if said {
			return tick(cmd, args)
		}
		tag, err := loops.ParseTag(args[0])
		if err != nil {
			return err
		}
		return tell(cmd.Context(), a, "GET", "/api/v1/loops/"+string(tag)+"/steps", nil, printSheet)
	}
}

// printSheet prints the steps with a box to tick each.
func printSheet(p *printer, s workshop.BenchSheet) {
	p.line("%s  %s, %s: wet work of %s loop", s.Tag, s.Machine, s.Owner, map[bool]string{true: "a sealed", false: "an open"}[s.Sealed])
	p.line("%d of %d steps to do.", s.Open, len(s.Steps))
	p.line("The safety data sheets, local rules and licensed practice decide.")
	for _, w := range s.Warnings {
		p.paragraph("! ", "  ", w)
	}
	var phase loops.StepPhase
	for _, step := range s.Steps {
		if step.Phase != phase {
			phase = step.Phase
			p.line("▐ %s", strings.ToUpper(string(phase)))
		}
		printStep(p, step)
	}
	printCautions(p, s.Cautions)
}

func printStep(p *printer, step loops.StepState) {
	box := "[ ]"
	switch {
	case step.LeftOut:
		box = "[-]"
	case !step.Open():
		box = "[x]"
	}
	p.paragraph("  "+box+" "+string(step.ID)+": ", "      ", step.Do)
	p.paragraph("      ! ", "        ", step.Caution)
	if step.Records != "" && step.Value == nil {
		p.line("      %s: ________ %s", step.Records, step.Unit)
	}
	if !step.Open() {
		words := step.Done.Long() + ", " + step.By
		if step.Found != "" {
			words += ": " + step.Found
		}
		if step.Value != nil {
			words += fmt.Sprintf(": %s %g %s", step.Records, *step.Value, step.Unit)
		}
		if step.Note != "" {
			words += "; " + step.Note
		}
		p.paragraph("      ", "      ", words)
	}
	p.line("      [%s, %s]", step.Source, step.Grade)
}

// sourceAndGrade says where a figure is from and how good that is, where the
// source does not say so itself.
func sourceAndGrade(c loops.Clause) string {
	if strings.HasPrefix(c.Source, c.Grade) {
		return c.Source
	}
	return c.Source + ", " + c.Grade
}
