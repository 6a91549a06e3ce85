// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
)

func (a *app) benchIdentifyCommand() *cobra.Command {
	r := chemistry.IdentifyRequest{Sample: chemistry.DefaultAt}
	cmd := &cobra.Command{
		Use: "identify (--brix | --index) READING --density DENSITY [--freeze TEMPERATURE]", Short: "What a liquid is, by two instruments",
		Example: "  fillmark bench identify --brix 28 --density 1.060kg/l",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			id, err := chemistry.Identify(r)
			if err != nil {
				return err
			}
			answer := struct {
				Fluid       chemistry.Fluid `json:"fluid"` // empty: cannot tell, or none of the two
				EG          float64         `json:"eg"`
				PG          float64         `json:"pg"`
				Mixture     float64         `json:"mixture"`
				Other       float64         `json:"other"`
				Says        string          `json:"says"`
				BeforeKnown []string        `json:"before_it_is_known,omitempty"`
			}{id.Fluid, id.Ethylene, id.Propylene, id.Mixture, id.Other, id.Says, nil}
			if id.Fluid == "" {
				answer.BeforeKnown = chemistry.UnknownLiquid()
			}
			return a.print(answer, func(out *printer) {
				out.paragraph("", "", "It reads like "+id.Says+".")
				out.line("Ethylene glycol %.0f %%, propylene glycol %.0f %%, a mixture %.0f %%, something else %.0f %%.",
					100*id.Ethylene, 100*id.Propylene, 100*id.Mixture, 100*id.Other)
				for _, line := range answer.BeforeKnown {
					out.paragraph("  - ", "    ", line)
				}
				printSources(out, []string{fmt.Sprintf("density and index at %s: Melinder 2010, CRC Handbook, MacBeth and Thompson; additives as six bought products weigh; named from 80 %% on", r.Sample)})
			})
		},
	}
	f := cmd.Flags()
	may(f, &r.Brix, chemistry.ParseBrix, "brix", "BRIX", "of a sugar refractometer")
	may(f, &r.Index, chemistry.ParseRefractiveIndex, "index", "INDEX", "refractive index nD")
	may(f, &r.Density, chemistry.ParseDensity, "density", "DENSITY", "of a hydrometer, such as 1.035 or 1035 (kg/m³)")
	may(f, &r.Freeze, chemistry.ParseCelsius, "freeze", "TEMPERATURE", "freeze point, seen by cooling a sample; not a refractometer's scale")
	need(f, &r.Sample, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature of the sample (default 20C)")
	f.BoolVar(&r.Alcohol, "alcohol", false, "it smells of alcohol")
	return cmd
}
