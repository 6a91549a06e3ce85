// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"fillmark/loops/findings"
)

// livesRows is how many ages of a curve are printed for people; the picture
// and --json have all.
const livesRows = 16

func (a *app) livesCommand() *cobra.Command {
	var svg, unit string
	cmd := &cobra.Command{
		Use:   "lives FILE.csv",
		Short: "How long loops last, from a file of lives",
		Long: `How long loops last, from a file of lives.

The first line of FILE names the columns lower, upper and count, and optionally
group, entry and cause. One line is one life, or count equal ones:

  12,15,1     good at 12, found failed at 15
  14,14,1     failed in service at 14
  0,6,1       found failed at its first opening at 6
  18,,20      20 loops still good at 18 (or Inf for upper)

entry is the age at which a loop joined the record; what ended sooner was
never seen. The ages are in any one unit. FILE may be - for standard input.`,
		Example: "  fillmark lives lives.csv --svg lives.svg --age-unit months",
		Args:    exactlyOne("the file of lives"),
		RunE: func(_ *cobra.Command, args []string) error {
			lives, err := a.readLives(args[0])
			if err != nil {
				return err
			}
			report := findings.Analyse(lives, findings.FromFile)
			drawn := false
			if svg != "" {
				if drawn, err = drawLives(svg, unit, report, lives); err != nil {
					return err
				}
			}
			return a.print(report, func(out *printer) {
				printLives(out, report)
				if drawn {
					out.line("Drawn in %s.", svg)
				}
			})
		},
	}
	cmd.Flags().StringVar(&svg, "svg", "", "draw the curve into `FILE`")
	cmd.Flags().StringVar(&unit, "age-unit", "", "`name` of the unit of the ages, for the picture")
	return cmd
}

// readLives reads a file of lives; an impossible value in it is wrong usage.
func (a *app) readLives(name string) (findings.Lives, error) {
	in := a.in
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return findings.Lives{}, err
		}
		defer func() { _ = file.Close() }() // only read from
		in = file
	}
	lives, err := findings.ReadCSV(in)
	var invalid *findings.InvalidError
	if errors.As(err, &invalid) {
		return findings.Lives{}, &usageError{fmt.Errorf("%s: %w", name, err)}
	}
	return lives, err
}

// drawLives writes the picture; without a curve there is none, and the report
// says why.
func drawLives(name, unit string, report findings.Report, lives findings.Lives) (bool, error) {
	plot, ok := findings.NewPlot(report, lives)
	if !ok {
		return false, nil
	}
	return true, os.WriteFile(name, plot.SVG(unit), 0o644)
}

func printLives(out *printer, r findings.Report) {
	printGroup(out, r)
	for _, g := range r.Groups {
		out.line("")
		out.line("Group %s", g.Group)
		printGroup(out, g)
	}
	if len(r.Groups) > 0 {
		out.line("")
	}
	printFirmer(out, r)
	printSources(out, r.Sources)
}

// printGroup prints the answers, what they rest on, the curve and what was not
// answered.
func printGroup(out *printer, r findings.Report) {
	for _, answer := range r.Answers {
		out.paragraph("", "", answer.Sentence)
	}
	out.paragraph("", "", "Rests on "+r.Basis.String()+".")
	printCurve(out, r)
	if len(r.Refused) > 0 {
		out.line("Not answered")
		for _, refused := range r.Refused {
			out.paragraph("  "+refused.What+": ", "    ", refused.Why)
		}
	}
}

// printFirmer says once what would make answers firmer.
func printFirmer(out *printer, r findings.Report) {
	said := map[string]bool{}
	for _, answer := range r.Answers {
		if answer.Firmer == "" || said[answer.Firmer] {
			continue
		}
		if len(said) == 0 {
			out.line("Firmer with")
		}
		said[answer.Firmer] = true
		out.paragraph("  "+answer.Question+": ", "    ", answer.Firmer+".")
	}
}

// printCurve prints the ages at which enough loops were under watch, evenly
// thinned.
func printCurve(out *printer, r findings.Report) {
	var points []findings.Point
	for _, p := range slices.Concat(r.KM, r.Turnbull) {
		if !p.Few {
			points = append(points, p)
		}
	}
	if len(points) == 0 {
		return
	}
	stride := (len(points) + livesRows - 1) / livesRows
	var shown []findings.Point
	for i := (len(points) - 1) % stride; i < len(points); i += stride {
		shown = append(shown, points[i])
	}
	out.table([]string{"age", "still good", "95 % limits", "at risk"}, len(shown), func(i int) []string {
		p := shown[i]
		limits := "not worked out"
		if p.Lower.Known() && p.Upper.Known() {
			limits = fmt.Sprintf("%.1f to %.1f %%", 100*float64(p.Lower), 100*float64(p.Upper))
		}
		return []string{strconv.FormatFloat(p.Age, 'g', 6, 64), fmt.Sprintf("%.1f %%", 100*p.Survival), limits, strconv.Itoa(p.AtRisk)}
	})
}
