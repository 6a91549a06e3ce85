// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
)

// mixAnswer is the JSON contract of mix; doc/commands.md lists it.
type mixAnswer struct {
	Target        workshop.Strength  `json:"target"`
	Result        workshop.Strength  `json:"result"`
	Uncompensated *workshop.Strength `json:"uncompensated,omitempty"` // had the liquid left in the loop been forgotten
	Parts         []partAnswer       `json:"parts"`
	Total         partAnswer         `json:"total"`
	ContractionML float64            `json:"contraction_ml"`
	Steps         []workshop.Step    `json:"steps"`
	Warnings      []workshop.Reason  `json:"warnings"`
	Cautions      []workshop.Caution `json:"cautions"`
	Sources       []string           `json:"sources"`
}

type partAnswer struct {
	Name     string  `json:"name,omitempty"`
	MassG    float64 `json:"mass_g"`
	VolumeML float64 `json:"volume_ml"`
}

func partOf(p chemistry.Part) partAnswer {
	return partAnswer{Name: p.Name, MassG: p.Mass.Grams(), VolumeML: p.Volume.Millilitres()}
}

// mixAnswerOf converts what chemistry computed; left tells that liquid stayed
// in the loop, so that the answer says what forgetting it would have made.
func mixAnswerOf(m chemistry.MixResult, left bool) mixAnswer {
	answer := mixAnswer{
		Target: workshop.StrengthOf(m.Target), Result: workshop.StrengthOf(m.Result), Parts: []partAnswer{}, Total: partOf(m.Total),
		ContractionML: m.Contraction.Millilitres(), Steps: workshop.StepsOf(m.Steps), Warnings: workshop.ReasonsOf(m.Warnings),
		Cautions: workshop.CautionsOf(m.Cautions), Sources: m.Sources,
	}
	if left {
		answer.Uncompensated = new(workshop.StrengthOf(m.Uncompensated))
	}
	for _, p := range m.Parts {
		answer.Parts = append(answer.Parts, partOf(p))
	}
	return answer
}

func (a *app) mixCommand() *cobra.Command {
	var r chemistry.MixRequest
	r.Bench = chemistry.DefaultAt
	cmd := &cobra.Command{
		Use:   "mix --fluid FLUID (--protect TEMPERATURE | --mass % | --volume %) --make VOLUME",
		Short: "What to pour for a fresh mix",
		Long: `What to pour for a fresh mix. --protect is the coldest wetted wall in use,
storage or transport; the target is that minus the margin. Grams are rounded
to what the scale reads, and everything else follows from them.`,
		Example: "  fillmark mix --fluid pg --protect -20C --make 600ml --concentrate 95% --at 20C",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			if r.Concentrate == 0 && r.Premix == 0 {
				r.Concentrate = 1
			}
			m, err := chemistry.Mix(r)
			if err != nil {
				return err
			}
			return a.print(mixAnswerOf(m, r.Left > 0), func(out *printer) { printMix(out, r, m) })
		},
	}
	f := cmd.Flags()
	need(f, &r.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "eg or pg")
	may(f, &r.Protect, chemistry.ParseCelsius, "protect", "TEMPERATURE", "coldest wetted wall in use, storage or transport")
	may(f, &r.Margin, chemistry.ParseCelsiusDelta, "margin", "DIFFERENCE", "freeze point below the wall (default 5K)")
	may(f, &r.Mass, chemistry.ParseMassPercent, "mass", "PERCENT", "wanted glycol mass %")
	may(f, &r.Volume, chemistry.ParseVolumePercent, "volume", "PERCENT", "wanted glycol volume % before mixing at 20 °C")
	need(f, &r.Make, chemistry.ParseLitre, "make", "VOLUME", "how much to make")
	need(f, &r.Concentrate, chemistry.ParseMassPercent, "concentrate", "PERCENT", "glycol mass % of the concentrate by its label (default 100%)")
	may(f, &r.ConcentrateDensity, chemistry.ParseDensity, "concentrate-density", "DENSITY", "by its label, such as 1.12kg/l")
	need(f, &r.Premix, chemistry.ParseMassPercent, "premix", "PERCENT", "glycol mass % of a premix at hand")
	need(f, &r.PremixAvailable, chemistry.ParseLitre, "premix-available", "VOLUME", "how much of it there is")
	need(f, &r.Bench, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature of the liquids (default 20C)")
	need(f, &r.Step, chemistry.ParseKilogram, "step", "MASS", "what the scale reads (default 1g)")
	need(f, &r.Left, chemistry.ParseLitre, "left", "VOLUME", "liquid left in the loop after draining")
	need(f, &r.LeftMass, chemistry.ParseMassPercent, "left-mass", "PERCENT", "glycol mass % of what is left (default water)")
	need(f, &r.LeftUncertainty, chemistry.ParseLitre, "left-uncertainty", "VOLUME", "how sure that is (k = 2)")
	need(f, &r.ConcentrateUncertainty, chemistry.ParseMassPercent, "concentrate-uncertainty", "PERCENT", "how sure its strength is (k = 2)")
	needFlags(cmd, "fluid", "make")
	return cmd
}

func printMix(out *printer, r chemistry.MixRequest, m chemistry.MixResult) {
	out.paragraph("", "", fmt.Sprintf("%s in the loop: first ice at %.1f ± %.1f °C (k = 2). Wanted: %s, %s.",
		m.Result.Mass, float64(m.Result.Freeze.Stated), float64(m.Result.Freeze.Uncertainty), m.Target.Mass, m.Target.Freeze.Stated))
	out.table([]string{"pour", "weigh", "which is"}, len(m.Parts)+1, func(i int) []string {
		p := m.Total
		if i < len(m.Parts) {
			p = m.Parts[i]
		} else {
			p.Name = "makes"
		}
		return []string{p.Name, p.Mass.String(), fmt.Sprintf("%.1f ml", p.Volume.Millilitres())}
	})
	out.line("Contraction on mixing: %.1f ml.", m.Contraction.Millilitres())
	if r.Left > 0 {
		out.paragraph("", "", fmt.Sprintf("Without counting the %s left in the loop it would be %s, first ice at %s.", r.Left, m.Uncompensated.Mass, m.Uncompensated.Freeze.Stated))
	}
	printSteps(out, workshop.StepsOf(m.Steps))
	printReasons(out, workshop.ReasonsOf(m.Warnings))
	printCautions(out, workshop.CautionsOf(m.Cautions))
	printSources(out, m.Sources)
}

func printSteps(out *printer, steps []workshop.Step) {
	if len(steps) == 0 {
		return
	}
	out.line("Steps")
	for i, s := range steps {
		text := s.Do + " " + s.What
		if s.MassG > 0 {
			text += fmt.Sprintf(", %.0f g (%.0f ml)", s.MassG, s.VolumeML)
		} else if s.VolumeML > 0 {
			text += fmt.Sprintf(", %.0f ml", s.VolumeML)
		}
		out.paragraph(fmt.Sprintf("  %d. ", i+1), "     ", text)
	}
}

func printReasons(out *printer, reasons []workshop.Reason) {
	if len(reasons) == 0 {
		return
	}
	out.line("Reasons")
	for _, r := range reasons {
		out.paragraph("  "+string(r.Verdict)+": ", "    ", fmt.Sprintf("%s [%s; %s; %s]", r.Text, r.Rule, r.Source, r.Grade.Name()))
	}
}

func printCautions(out *printer, cautions []workshop.Caution) {
	if len(cautions) == 0 {
		return
	}
	out.line("Cautions")
	for _, c := range cautions {
		signal := ""
		if c.Signal != "" {
			signal = " (" + c.Signal + ")"
		}
		out.paragraph("  ", "    ", fmt.Sprintf("%s%s: %s", c.Substance, signal, c.Text))
	}
}
