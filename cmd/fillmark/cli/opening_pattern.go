// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
)

func (a *app) openingLivesCommand() *cobra.Command {
	origin, build, by, asFile := loops.WorkshopFill, "", "", false
	cmd := &cobra.Command{
		Use:   "lives",
		Short: "List the lives of all charges, or write them as a file for fillmark lives",
		Long: `List the lives of all charges, or write the rows that opening howlong rests on as
a file for fillmark lives. That takes a file as it is given: it also tells what
the register refuses (ages without one healthy loop, a shape from two failures
on), and compares the groups of the one file, of which it takes at most 50. Ages
are months since the fill (days / 30.4375). Factory and workshop charges are
never in one file, nor those of sealed and of open loops.`,
		Example: "  fillmark opening lives --csv --by metals > lives.csv && fillmark lives lives.csv",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if asFile {
				return a.download(cmd.Context(), query("/api/v1/openings/lives", "origin", string(origin), "build", build, "by", by), a.out)
			}
			return tell(cmd.Context(), a, "GET", "/api/v1/openings/cases", nil, func(p *printer, found items[evidence.CaseLine]) {
				p.line("%s on record.", plural(len(found.Items), "charge"))
				p.table([]string{"tag", "origin", "good at", "found failed at", "cause", "not counted"}, len(found.Items), func(i int) []string {
					return caseRow(found.Items[i])
				})
			})
		},
	}
	f := cmd.Flags()
	f.BoolVar(&asFile, "csv", false, "write the file")
	pick(f, &origin, chargeOrigins(), "origin", "ORIGIN", "of the charges in the file: workshop (default), factory or unknown")
	buildFlag(f, &build)
	f.StringVar(&by, "by", "", "`TRAIT` that parts them into groups")
	return cmd
}

// buildFlag says of which loops the charges are.
func buildFlag(f *pflag.FlagSet, build *string) {
	pick(f, build, []string{evidence.Build(true), evidence.Build(false)}, "build", "BUILD", "of the loops, sealed or open; needed where there are charges of both")
}

func caseRow(c evidence.CaseLine) []string {
	good, found := "", ""
	if c.Good > 0 {
		good = fmt.Sprintf("%.1f", c.Good)
	}
	if c.Found != nil {
		found = fmt.Sprintf("%.1f", *c.Found)
	}
	return []string{string(c.Tag), string(c.Origin), good, found, string(c.Cause), c.LeftOut}
}

func (a *app) openingPatternCommand() *cobra.Command {
	cause, trait := loops.CauseClog, ""
	cmd := &cobra.Command{
		Use:   "pattern [--cause CAUSE] [--trait KEY=VALUE]",
		Short: "Pattern or chance? What failed charges have that healthy ones have not",
		Long: `Pattern or chance? Do charges with a trait fail by a cause more often than others
of their age, however long each was watched? For one trait, or for every trait
that parts them. Whatever comes out is an idea: the same cases suggested it. Put
it under watch and let later ones decide.

Keys: ` + acts.Listed(evidence.TraitKeys()),
		Example: "  fillmark opening pattern --cause clog --trait metal=aluminium",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "GET", query("/api/v1/openings/pattern", "cause", string(cause), "trait", trait), nil, printPattern)
		},
	}
	pick(cmd.Flags(), &cause, loops.Causes(), "cause", "CAUSE", "cause that ended them: clog (default), pump, leak or other")
	cmd.Flags().StringVar(&trait, "trait", "", "`KEY=VALUE` such as metal=aluminium; without it all are compared")
	return cmd
}

func printPattern(p *printer, answer evidence.PatternAnswer) {
	if len(answer.Lines) == 0 {
		p.line("Nothing to compare.")
	}
	printTraits(p, answer.Lines)
	p.paragraph("", "", "Rests on "+answer.RestOn+".")
	printApart(p, answer.Apart)
}

func printTraits(p *printer, lines []evidence.PatternLine) {
	told, refused := evidence.Told(lines)
	for _, l := range told {
		printTrait(p, l)
	}
	printRefused(p, refused)
}

func printTrait(p *printer, l evidence.PatternLine) {
	if l.Sentence != "" {
		p.paragraph("", "  ", l.Sentence)
	}
	printRefused(p, l.Refused)
	if l.Firmer != "" {
		p.paragraph("  Firmer: ", "    ", l.Firmer+".")
	}
}

func printRefused(p *printer, refused []findings.Refusal) {
	for _, r := range refused {
		p.paragraph("Not answered, "+r.What+": ", "  ", r.Why)
	}
}

func printApart(p *printer, apart []evidence.ApartLine) {
	for _, x := range apart {
		p.paragraph("", "  ", fmt.Sprintf("Not counted: %d %s.", x.Count, x.Why))
	}
}

func (a *app) openingHowLongCommand() *cobra.Command {
	var by, svg, build string
	origin := loops.WorkshopFill
	cmd := &cobra.Command{
		Use:     "howlong [--by TRAIT]",
		Short:   "How long do charges last? Curves with limits and numbers at risk",
		Long:    "How long do charges last? One answer for workshop and one for factory charges, in\nsealed and in open loops, which are never pooled; in groups by a key, or by having\none trait.\n\nKeys: " + acts.Listed(evidence.GroupKeys()),
		Example: "  fillmark opening howlong --by metals\n  fillmark opening howlong --svg factory.svg --origin factory --build sealed",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			for _, flag := range []string{"origin", "build"} {
				if svg == "" && cmd.Flags().Changed(flag) {
					return &usageError{fmt.Errorf("--%s says what --svg draws: give both, or neither", flag)}
				}
			}
			found, err := ask[items[evidence.OriginLives]](cmd.Context(), a, "GET", query("/api/v1/openings/howlong", "by", by), nil)
			if err != nil {
				return err
			}
			drawn := false
			if svg != "" {
				if drawn, err = a.drawHowLong(cmd.Context(), svg, query("/api/v1/openings/lives", "origin", string(origin), "build", build, "by", by)); err != nil {
					return err
				}
			}
			return a.print(found, func(p *printer) {
				printHowLong(p, found.Items)
				switch {
				case drawn:
					p.line("The curve of %s charges is drawn in %s.", origin, svg)
				case svg != "":
					p.line("Nothing is drawn: %s charges have no curve yet.", origin)
				}
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&by, "by", "", "`TRAIT` that parts them: a key, or KEY=VALUE for with and without")
	f.StringVar(&svg, "svg", "", "draw the curve into `FILE`")
	pick(f, &origin, chargeOrigins(), "origin", "ORIGIN", "of the charges that --svg draws: workshop (default), factory or unknown")
	buildFlag(f, &build)
	return cmd
}

func chargeOrigins() []loops.Origin {
	return []loops.Origin{loops.WorkshopFill, loops.Factory, loops.UnknownOrigin}
}

func printHowLong(p *printer, found []evidence.OriginLives) {
	if len(found) == 0 {
		p.line("No charge is on record yet.")
	}
	if len(found) > 0 {
		printTraits(p, found[0].Compared)
	}
	for _, l := range found {
		p.line("▐ %s, ages in months since the fill", loops.Capital(l.Of))
		if l.Report.N > 0 {
			printLives(p, l.Report)
		}
		printRefused(p, l.Lacks)
		printApart(p, l.Apart)
	}
}

// drawHowLong draws the curve from the rows that an answer rests on,
// and tells whether there is one.
func (a *app) drawHowLong(ctx context.Context, file, rowsOf string) (bool, error) {
	var rows bytes.Buffer
	if err := a.download(ctx, rowsOf, &rows); err != nil {
		return false, err
	}
	if bytes.Count(rows.Bytes(), []byte("\n")) < 2 { // the names of the columns alone
		return false, nil
	}
	lives, err := findings.ReadCSV(&rows)
	if err != nil {
		return false, fmt.Errorf("rows of the charges: %w", err)
	}
	return drawLives(file, "months", findings.Analyse(lives, findings.FromRegister), lives)
}

func (a *app) openingWhenLookCommand() *cobra.Command {
	return &cobra.Command{
		Use: "whenlook", Short: "When should I look? What the shop's rule prevents, and what a look by its cost would be",
		Example: `  fillmark opening whenlook`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "GET", "/api/v1/openings/whenlook", nil, func(p *printer, found items[evidence.WhenLook]) {
				for _, l := range found.Items {
					printWhenLook(p, l)
				}
			})
		},
	}
}

func (a *app) openingEvidenceCommand() *cobra.Command {
	return &cobra.Command{
		Use: "evidence", Short: "What failed charges have in common, every version with its day",
		Example: `  fillmark opening evidence`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "GET", "/api/v1/openings/evidence", nil, func(p *printer, found items[loops.Evidence]) {
				if len(found.Items) == 0 {
					p.line("None yet.")
				}
				for _, e := range found.Items {
					p.line("▐ Version %d, %s", e.Version, loops.DayOf(e.Made, time.UTC).Long())
					printEvidence(p, e)
				}
			})
		},
	}
}

func printEvidence(p *printer, e loops.Evidence) {
	if len(e.Ages)+len(e.Notices) == 0 {
		p.line("  Nothing that failed charges have in common.")
	}
	p.table([]string{"charges", "loops", "months", "n", "failures", "loop-months", "known since"}, len(e.Ages), func(i int) []string {
		x := e.Ages[i]
		return []string{string(x.Origin), evidence.Build(x.Sealed), fmt.Sprintf("%.1f", x.Months), fmt.Sprint(x.Lives), fmt.Sprint(x.Failures), fmt.Sprintf("%.0f", x.LoopMonths), x.Since.String()}
	})
	for _, n := range e.Notices {
		p.paragraph("  ", "    ", n.Text)
	}
}

func printWhenLook(p *printer, l evidence.WhenLook) {
	p.line("%s", loops.Capital(l.Of))
	for _, sentence := range l.Sentences {
		p.paragraph("  ", "  ", sentence)
	}
	p.paragraph("  ", "  ", "Rests on "+l.RestsOn+".")
	printRefused(p, l.Refused)
	if l.Firmer != "" {
		p.paragraph("  Firmer: ", "    ", l.Firmer+".")
	}
}

func (a *app) openingWatchCommand() *cobra.Command {
	var watch loops.PatternWatch
	cmd := &cobra.Command{
		Use:   "watch [KEY=VALUE --cause CAUSE]",
		Short: "List the patterns under watch, or put one there before the cases that test it",
		Long: `List the patterns under watch and what has come of them. With a trait and a cause
write that pattern down before the cases that test it: it counts only what happens
from then on.`,
		Example: `  fillmark opening watch
  fillmark opening watch metal=aluminium --cause clog --read-at 5`,
		Args: atMostOne("what is watched, such as metal=aluminium"),
		RunE: func(cmd *cobra.Command, args []string) error {
			const path = "/api/v1/openings/watches"
			watch.Trait = strings.Join(args, "")
			switch {
			case watch == loops.PatternWatch{ReadAt: readAt}:
				return tell(cmd.Context(), a, "GET", path, nil, printWatches)
			case watch.Trait == "" || watch.Cause == "":
				return &usageError{errors.New("a trait and --cause: what is watched, such as metal=aluminium --cause clog")}
			}
			return tell(cmd.Context(), a, "POST", path, watch, func(p *printer, line evidence.WatchLine) {
				p.line("Watch %d: %s, %s.", line.ID, line.Cause, line.Answer.Words)
				p.paragraph("", "", fmt.Sprintf("It counts what happens to charges after %s. Not counted yet: %d of those on record.", line.Registered.Long(), line.PassedOver))
			})
		},
	}
	f := cmd.Flags()
	pick(f, &watch.Cause, loops.Causes(), "cause", "CAUSE", "cause that ended them: clog, pump, leak or other")
	f.IntVar(&watch.ReadAt, "read-at", readAt, "`number` of later failures at which it is read, once; 0 reads it each time")
	f.StringVar(&watch.Why, "why", "", "what suggested it")
	return cmd
}

// readAt is at how many later failures a pattern is read, unless said.
const readAt = 5

func printWatches(p *printer, found items[evidence.WatchLine]) {
	p.line("%s.", plural(len(found.Items), "watch pattern"))
	for _, w := range found.Items {
		p.line("%d  %s, %s, since %s by %s", w.ID, w.Cause, w.Answer.Words, w.Registered.Long(), w.By)
		printTrait(p, w.Answer)
	}
}

func (a *app) openingSummaryCommand() *cobra.Command {
	var trait, maker, model string
	asTable := false
	cmd := &cobra.Command{
		Use:   "summary (--maker MAKER [--model MODEL] | --trait KEY=VALUE)",
		Short: "What a maker may be shown: counts, ages, words, and nothing about owners",
		Example: `  fillmark opening summary --maker "Lowtide Works" --csv
  fillmark opening summary --trait lot=B-17`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case maker != "" && trait == "" && model != "":
				trait = "model=" + maker + " " + model
			case maker != "" && trait == "":
				trait = "maker=" + maker
			case trait == "" || maker != "" || model != "":
				return &usageError{fmt.Errorf("--maker (with --model if wanted) or --trait, one of them")}
			}
			if asTable {
				return a.download(cmd.Context(), query("/api/v1/openings/summary.csv", "trait", trait), a.out)
			}
			return tell(cmd.Context(), a, "GET", query("/api/v1/openings/summary", "trait", trait), nil, printSummary)
		},
	}
	f := cmd.Flags()
	f.StringVar(&maker, "maker", "", "`MAKER` as the workshop types it")
	f.StringVar(&model, "model", "", "`MODEL` of that maker")
	f.StringVar(&trait, "trait", "", "any `KEY=VALUE`")
	f.BoolVar(&asTable, "csv", false, "write the openings as a table")
	return cmd
}

func printSummary(p *printer, s workshop.Summary) {
	p.line("%s: %s, %d failed, %d measured good.", s.Words, plural(s.Charges, "charge"), s.Failed, s.Good)
	p.table([]string{"cause", "charges"}, len(s.Causes), func(i int) []string { return []string{s.Causes[i].Word, fmt.Sprint(s.Causes[i].Count)} })
	p.table([]string{"seen", "openings"}, len(s.Seen), func(i int) []string { return []string{s.Seen[i].Word, fmt.Sprint(s.Seen[i].Count)} })
	p.table([]string{"months", "cause", "seen", "charge"}, len(s.Cases), func(i int) []string {
		c := s.Cases[i]
		return []string{c.Age(), string(c.Cause), c.Look, c.Fluid + ", " + string(c.Origin)}
	})
	for _, l := range s.Lives {
		p.line("▐ %s, ages in months since the fill", loops.Capital(l.Of))
		if l.Report.N > 0 {
			printLives(p, l.Report)
		}
		printApart(p, l.Apart)
	}
}
