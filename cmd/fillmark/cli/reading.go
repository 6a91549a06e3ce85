// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// readingAnswer is the JSON contract of reading; doc/commands.md lists it.
type readingAnswer struct {
	Fluid             chemistry.Fluid `json:"fluid"`
	From              string          `json:"from"` // the reading as it was understood
	MassPercent       float64         `json:"mass_percent"`
	MassUncertainty   float64         `json:"mass_percent_uncertainty"` // k = 2
	VolumePercent     float64         `json:"volume_percent"`
	FreezePointC      float64         `json:"freeze_point_c"`
	FreezeUncertainK  float64         `json:"freeze_point_uncertainty_k"` // k = 2
	RefractiveIndex20 float64         `json:"refractive_index_20c"`
	ProductPercent    *float64        `json:"product_percent,omitempty"` // volume % of the product, as its label counts
	Warnings          []string        `json:"warnings"`
	Sources           []string        `json:"sources"`
}

func (a *app) readingCommand() *cobra.Command {
	r := chemistry.ReadingRequest{Sample: chemistry.DefaultAt}
	var bottle labelFlags
	cmd := &cobra.Command{
		Use:   "reading --fluid FLUID (--brix | --index | --density | --freeze | --volume) READING [--at TEMPERATURE]",
		Short: "What an instrument's reading means: strength, freeze point, how sure",
		Example: `  fillmark reading --fluid pg --brix 28.4 --at 20C
  fillmark reading --fluid eg --freeze -20C --scale pg    # read on the wrong scale`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := bottle.fromShelf(cmd.Context(), a, &r.Fluid); err != nil {
				return err
			}
			r.Product = bottle.product(r.Fluid)
			reading, err := chemistry.Read(r)
			if err != nil {
				return err
			}
			answer := readingAnswer{
				Fluid: r.Fluid, From: reading.From, MassPercent: reading.Mass.Percent(), MassUncertainty: reading.MassUncertainty.Percent(),
				VolumePercent: reading.Volume.Percent(), FreezePointC: float64(reading.Freeze.Stated),
				FreezeUncertainK: float64(reading.Freeze.Uncertainty), RefractiveIndex20: float64(reading.Index20),
				Warnings: append([]string{}, reading.Warnings...), Sources: reading.Sources,
			}
			if reading.Product != nil {
				answer.ProductPercent = new(reading.Product.Strength.Percent())
			}
			return a.print(answer, func(out *printer) {
				if reading.Product != nil {
					out.line("By its label: %s of the product.", reading.Product.Strength)
				}
				out.paragraph("", "", fmt.Sprintf("%s, from %s: %.1f ± %.1f mass %% (%s before mixing at 20 °C), first ice at %.1f ± %.1f °C (k = 2).",
					r.Fluid.Name(), reading.From, reading.Mass.Percent(), reading.MassUncertainty.Percent(), reading.Volume, float64(reading.Freeze.Stated), float64(reading.Freeze.Uncertainty)))
				for _, warning := range reading.Warnings {
					out.paragraph("  - ", "    ", warning)
				}
				printSources(out, reading.Sources)
			})
		},
	}
	f := cmd.Flags()
	need(f, &r.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid in the loop: eg or pg")
	may(f, &r.Brix, chemistry.ParseBrix, "brix", "BRIX", "of a sugar refractometer")
	may(f, &r.Index, chemistry.ParseRefractiveIndex, "index", "INDEX", "refractive index nD")
	may(f, &r.Density, chemistry.ParseDensity, "density", "DENSITY", "of a hydrometer, such as 1.035 or 1035 (kg/m³)")
	may(f, &r.Freeze, chemistry.ParseCelsius, "freeze", "TEMPERATURE", "freeze point on the scale of a glycol refractometer")
	may(f, &r.Volume, chemistry.ParseVolumePercent, "volume", "PERCENT", "glycol volume % on the scale of a refractometer")
	f.BoolVar(&r.Diluted, "diluted", false, "the sample was thinned 1:1 by volume with distilled water first")
	bottle.add(f)
	need(f, &r.Scale, chemistry.ParseFluid, "scale", "FLUID", "glycol of that scale (default: the fluid)")
	need(f, &r.Sample, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature of the sample (default 20C)")
	unsure(f, "at", &r.SampleUncertainty, chemistry.ParseCelsiusDelta)
	pick(f, &r.Compensation, []chemistry.Compensation{chemistry.NoCompensation, chemistry.SucroseCompensation, chemistry.GlycolCompensation}, "compensation", "KIND", "of the instrument for temperature: none, sucrose or glycol")
	need(f, &r.Instrument, number(""), "instrument-uncertainty", "NUMBER", "uncertainty of the instrument (k = 2), plain, in the unit of the reading: Brix, nD, kg/l, K or volume %")
	may(f, &r.ZeroAge, parseDays, "zero-age", "DAYS", "days since its zero was checked (default: today)")
	f.BoolVar(&r.Inhibited, "inhibited", false, "a formulated product: its additives refract and weigh too")
	return cmd
}

// parseDays reads a whole number of days.
func parseDays(text string) (int, error) {
	days, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil {
		return 0, &loops.InvalidError{Field: "days", Value: text, Reason: "a whole number of days, such as 30"}
	}
	return days, nil
}

func (a *app) rulesCommand() *cobra.Command {
	var source string
	cmd := &cobra.Command{
		Use: "rules [ID]", Short: "The rules behind the verdicts: when, what, from where", Args: atMostOne("the name of the rule"),
		Long: `The rules behind the verdicts. What happens where two things meet is one rule
a pair, named after both: acid+bleach, copper-biocide+aluminium. Beside them
stands what acts ask of a loop's record, such as leaking. --source prints
the ledger: what a source is, which table or page, who read it, and whether it
checks the program's figures independently; "all" prints all of it.`,
		Example: "  fillmark rules\n  fillmark rules copper-aluminium\n  fillmark rules acid+bleach\n  fillmark rules --source crc-102",
		RunE: func(_ *cobra.Command, args []string) error {
			if chemistry.IsSource(source) || source == "all" {
				return a.sources(source)
			}
			id := source // a rule says its own
			if len(args) == 1 {
				id = args[0]
			}
			answer := items[chemistry.Rule]{Items: rulesOf(id)}
			if len(answer.Items) == 0 {
				return fmt.Errorf("rule %q: %w; fillmark rules lists them all, and fillmark rules --source all the ledger", id, loops.ErrNotFound)
			}
			return a.print(answer, func(out *printer) {
				out.line("%s. What stands on memory alone is care at most, and never a go.", plural(len(answer.Items), "rule"))
				for _, r := range answer.Items {
					out.line("▐ %s: %s", r.ID, r.Verdict)
					out.paragraph("    when ", "         ", r.When)
					out.paragraph("    ", "    ", r.Text)
					out.paragraph("    ", "    ", "["+cited(r.Source, r.Grade)+"]")
				}
			})
		},
	}
	cmd.Flags().StringVar(&source, "source", "", "print a source of the ledger by its `ID`, or all; the ID of a rule, or of a set of water limits, prints what it stands on")
	return cmd
}

// rulesOf are all rules but those of pairs, or the rules of one id.
func rulesOf(id string) []chemistry.Rule {
	all := slices.Concat(chemistry.Rules(), acts.Rules())
	if id == "" {
		return all
	}
	all = slices.DeleteFunc(all, func(r chemistry.Rule) bool { return r.ID != id })
	if r, ok := chemistry.ParsePair(id); ok {
		all = append(all, r)
	}
	return append(all, chemistry.WaterRules(id)...)
}

// sources prints the ledger, or one line of it.
func (a *app) sources(id string) error {
	answer := items[chemistry.Source]{Items: slices.DeleteFunc(chemistry.Sources(), func(s chemistry.Source) bool { return id != "all" && s.ID != id })}
	return a.print(answer, func(out *printer) {
		for _, s := range answer.Items {
			out.line("▐ %s: %s", s.ID, s.Standing)
			out.paragraph("    ", "    ", s.Citation)
			if s.Where != "" {
				out.paragraph("    ", "    ", s.Where)
			}
			out.paragraph("    ", "    ", "read by: "+s.ReadBy)
		}
	})
}

// printJudgement prints a verdict and the rules that fired.
func printJudgement(out *printer, reasons []chemistry.Reason) {
	out.verdict(chemistry.Judge(reasons))
	if len(reasons) == 0 {
		out.line("No rule speaks against it.")
	}
	printReasons(out, chemistry.WorstFirst(reasons))
}
