// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
)

func (a *app) benchWaterCommand() *cobra.Command {
	var w chemistry.WaterReport
	var fluid chemistry.Fluid
	var use string
	cmd := &cobra.Command{
		Use: "water --fluid FLUID [--use ID] [figures]", Short: "Compare a water report with published limits",
		Example: "  fillmark bench water --fluid pg --hardness 5.6dH --chloride 18mg/l --sulfate 30mg/l\n" +
			"  fillmark bench water --fluid pg --use solar-in-use --ph 7.6    # what is in a loop",
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			uses := chemistry.WaterUses(fluid)
			if use == "" && len(uses) > 0 {
				use = uses[0].ID
			}
			lines, verdict, err := chemistry.CheckWater(w, fluid, use)
			if err != nil {
				return err
			}
			answer := waterAnswer{Use: use, Verdict: verdict, Lines: waterLines(lines), NotJudged: append([]string{}, w.NotJudged(lines)...)}
			if err := a.print(answer, func(out *printer) { printWater(out, answer, uses) }); err != nil {
				return err
			}
			return stopIf(verdict)
		},
	}
	f := cmd.Flags()
	need(f, &fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid that the water is for: eg, pg, water or deionised")
	f.StringVar(&use, "use", "", "which limits, by `id`; sources disagree (default: the first for the fluid)")
	may(f, &w.Hardness, chemistry.ParseHardness, "hardness", "HARDNESS", "total hardness: 100ppm, 5.6dH, 10fH, 7e, 1mmol/l, 5gpg")
	may(f, &w.PH, number(""), "ph", "NUMBER", "pH at 25 °C")
	may(f, &w.Conductivity, number("µS/cm"), "conductivity", "NUMBER", "µS/cm at 25 °C")
	for name, target := range map[string]**float64{"chloride": &w.Chloride, "sulfate": &w.Sulfate, "calcium": &w.Calcium, "magnesium": &w.Magnesium, "iron": &w.Iron, "copper": &w.Copper} {
		may(f, target, number("mg/l"), name, "NUMBER", "mg/l")
	}
	needFlags(cmd, "fluid")
	return cmd
}

type waterAnswer struct {
	Use     string            `json:"use"`
	Verdict chemistry.Verdict `json:"verdict"`
	Lines   []waterLine       `json:"lines"`
	// NotJudged are the figures given that these limits say nothing of.
	NotJudged []string `json:"not_judged"`
}

type waterLine struct {
	Parameter string            `json:"parameter"`
	Unit      string            `json:"unit"`
	Value     *float64          `json:"value"`
	Min       *float64          `json:"min"`
	Max       *float64          `json:"max"`
	Verdict   chemistry.Verdict `json:"verdict"`
	Source    string            `json:"source"`
	Grade     chemistry.Grade   `json:"grade"`

	limit string // in words, with its unit
}

func waterLines(lines []chemistry.WaterLine) []waterLine {
	finite := func(v float64) *float64 {
		if math.IsInf(v, 0) {
			return nil
		}
		return &v
	}
	out := make([]waterLine, 0, len(lines))
	for _, l := range lines {
		out = append(out, waterLine{l.Parameter, l.Unit, l.Value, finite(l.Min), finite(l.Max), l.Verdict, l.Source, l.Grade, l.Limit()})
	}
	return out
}

func printWater(out *printer, w waterAnswer, uses []chemistry.WaterUse) {
	out.verdict(w.Verdict)
	for _, l := range w.Lines {
		measured := "not measured"
		if l.Value != nil {
			measured = fmt.Sprintf("%.4g", *l.Value)
		}
		out.line("%s", strings.TrimRight(fmt.Sprintf("  %-4s  %-12s %12s   %s", l.Verdict, l.Parameter, measured, l.limit), " "))
		out.paragraph("        ", "        ", cited(l.Source, l.Grade))
	}
	if len(w.NotJudged) > 0 {
		out.line("Not judged, for these limits say nothing of it: %s.", strings.Join(w.NotJudged, ", "))
	}
	out.paragraph("", "", waterAdvice(w))
	out.line("Limits there are for this fluid (--use):")
	for _, u := range uses {
		out.paragraph("  ", "    ", u.ID+": "+u.Title)
	}
}

// waterAdvice says what to do next.
func waterAdvice(w waterAnswer) string {
	switch w.Verdict {
	case chemistry.Stop:
		return "Do not use it: take distilled or deionised water, or, for what is in a loop, change the coolant."
	case chemistry.Care:
		if !slices.ContainsFunc(w.Lines, func(l waterLine) bool { return l.Value == nil }) {
			return "A limit that is only remembered is passed: ask the product's maker, or take distilled or deionised water."
		}
		return "Measure what is missing before it is relied on; distilled or deionised water needs no report."
	}
	return "Within these limits."
}
