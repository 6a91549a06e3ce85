// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
)

func (a *app) benchBalanceCommand() *cobra.Command {
	var r chemistry.BalanceRequest
	var basis string
	cmd := &cobra.Command{
		Use: "balance --fluid FLUID --filled-mass % --mass % --held MASS --missing MASS", Short: "Where missing liquid went: water evaporated, coolant leaked",
		Example: "  fillmark bench balance --fluid pg --filled-mass 35% --mass 37.9%±0.4% --held 1kg --missing 160g",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			if err := byVolume(r.Fluid, basis, &r.Filled, &r.Now); err != nil {
				return err
			}
			if r.FilledUncertainty == 0 {
				return &usageError{errors.New("--mass: how sure both strengths are is missing behind it, such as 37.9%±0.4%")}
			}
			r.NowUncertainty = r.FilledUncertainty
			b, err := chemistry.Split(r)
			if err != nil {
				return err
			}
			answer := struct {
				Water             float64 `json:"water_g"`
				WaterUncertainty  float64 `json:"water_uncertainty_g"`
				Leaked            float64 `json:"leaked_g"`
				LeakedUncertainty float64 `json:"leaked_uncertainty_g"`
				Evaporates        bool    `json:"evaporates"`
				Leaks             bool    `json:"leaks"`
				Says              string  `json:"says"`
				Taken             string  `json:"taken"`
			}{b.Water.Grams(), b.WaterUncertainty.Grams(), b.Leaked.Grams(), b.LeakedUncertainty.Grams(), b.Evaporates, b.Leaks, b.Says, b.Taken}
			return a.print(answer, func(out *printer) {
				out.paragraph("", "", "Where it went: "+b.Says+".")
				out.paragraph("", "", "Taken: "+b.Taken+".")
				printSources(out, []string{"computed: water permeates and leaves the glycol behind, a leak takes it along"})
			})
		},
	}
	f := cmd.Flags()
	need(f, &r.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid: eg or pg")
	need(f, &r.Filled, chemistry.ParseMassPercent, "filled-mass", "PERCENT", "glycol mass % at the fill")
	need(f, &r.Now, chemistry.ParseMassPercent, "mass", "PERCENT", "glycol mass % now, and how sure both are, such as 37.9%±0.4%")
	basisFlag(f, &basis)
	need(f, &r.Held, chemistry.ParseKilogram, "held", "MASS", "liquid in the loop at the fill")
	need(f, &r.Missing, chemistry.ParseKilogram, "missing", "MASS", "by two weighings, or the gap times the density")
	unsure(f, "mass", &r.FilledUncertainty, chemistry.ParseMassPercent)
	unsure(f, "held", &r.HeldUncertainty, chemistry.ParseKilogram)
	unsure(f, "missing", &r.MissingUncertainty, chemistry.ParseKilogram)
	may(f, &r.Permeation, chemistry.ParseKilogram, "permeation", "MASS", "water that bench loss expects in that time")
	f.BoolVar(&r.SinceDryCheckPassed, "dry-check", false, "a leak check since the fill stayed dry")
	needFlags(cmd, "fluid", "filled-mass", "mass", "held", "missing")
	return cmd
}
