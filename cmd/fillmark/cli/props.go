// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
)

// propsAnswer is the JSON contract of props; doc/commands.md lists it.
type propsAnswer struct {
	Fluid             chemistry.Fluid `json:"fluid"`
	MassPercent       float64         `json:"mass_percent"`
	VolumePercent     float64         `json:"volume_percent"`
	TemperatureC      float64         `json:"temperature_c"`
	FreezePointC      float64         `json:"freeze_point_c"`
	FreezeUncertainK  float64         `json:"freeze_point_uncertainty_k"`
	BoilingPointC     float64         `json:"boiling_point_c"`
	DensityKgM3       float64         `json:"density_kg_m3"`
	SpecificHeat      float64         `json:"specific_heat_j_kg_k"`
	Conductivity      float64         `json:"conductivity_w_m_k"`
	ViscosityMPaS     float64         `json:"viscosity_mpa_s"`
	RefractiveIndex20 float64         `json:"refractive_index_20c"`
	Brix20            float64         `json:"brix_20c"`
	*againstWater
	Sources []string `json:"sources"`
}

// againstWater is what a glycol costs a loop; nil where nothing is compared.
type againstWater struct {
	ComparedAtC       float64 `json:"compared_at_c"`
	HeatPerLitreK     float64 `json:"heat_kj_per_l_k"`
	RelativeHeat      float64 `json:"relative_heat"`
	RelativeViscosity float64 `json:"relative_viscosity"`
	RelativeFlow      float64 `json:"relative_flow"`
	Warning           string  `json:"warning"`
}

func (a *app) propsCommand() *cobra.Command {
	var fluid chemistry.Fluid
	var mass *chemistry.MassFraction
	var volume *chemistry.VolumeFraction
	var to *chemistry.Celsius
	at, by := chemistry.DefaultAt, chemistry.CelsiusDelta(10)
	cmd := &cobra.Command{
		Use:   "props --fluid FLUID (--mass % | --volume %) [--at TEMPERATURE [--up-to TEMPERATURE]]",
		Short: "Properties of a liquid from the published tables, a glycol's against water's",
		Example: "  fillmark props --fluid eg --mass 40% --at 20C\n" +
			"  fillmark props --fluid eg --mass 40% --at -20C --up-to 60C --every 10K    # a table",
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			if slices.Contains(chemistry.OtherLiquids(), fluid) {
				return a.otherProps(fluid, mass, at)
			}
			fraction, err := oneFraction(fluid, mass, volume)
			if err != nil {
				return err
			}
			if to != nil {
				return a.propsTable(fluid, fraction, at, *to, by)
			}
			p, err := chemistry.Props(fluid, fraction, at)
			if err != nil {
				return err
			}
			answer := propsAnswerOf(p)
			words := ""
			if cost, err := chemistry.GlycolCost(fluid, fraction, at); err == nil && fluid.IsGlycol() {
				answer.againstWater = &againstWater{float64(cost.ComparedAt), cost.HeatPerLitreKelvin, cost.RelativeHeat, cost.RelativeViscosity, cost.RelativeFlow, cost.Warning}
				words = costWords(cost)
			}
			return a.print(answer, func(out *printer) { printProps(out, p, words) })
		},
	}
	f := cmd.Flags()
	need(f, &fluid, chemistry.ParseAnyFluid, "fluid", "FLUID", "fluid: eg, pg, water or deionised; or what else turns up: "+acts.Listed(chemistry.OtherLiquids()))
	may(f, &mass, chemistry.ParseMassPercent, "mass", "PERCENT", "glycol mass %")
	may(f, &volume, chemistry.ParseVolumePercent, "volume", "PERCENT", "glycol volume % before mixing at 20 °C")
	need(f, &at, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature (default 20C)")
	may(f, &to, chemistry.ParseCelsius, "up-to", "TEMPERATURE", "print a table up to this temperature")
	need(f, &by, chemistry.ParseCelsiusDelta, "every", "DIFFERENCE", "step of the table (default 10K)")
	needFlags(cmd, "fluid")
	return cmd
}

// otherProps prints what is known of a liquid that is none for electronics.
func (a *app) otherProps(fluid chemistry.Fluid, mass *chemistry.MassFraction, at chemistry.Celsius) error {
	if mass == nil {
		return &usageError{fmt.Errorf("--mass is missing: how much %s, such as --mass 30%%", fluid)}
	}
	p, err := chemistry.OtherProps(fluid, *mass, at)
	if err != nil {
		return err
	}
	answer := propsAnswer{
		Fluid: p.Fluid, MassPercent: p.Mass.Percent(), TemperatureC: float64(p.Temperature), FreezePointC: float64(p.Freeze.Stated),
		FreezeUncertainK: float64(p.Freeze.Uncertainty), DensityKgM3: p.Density.KilogramsPerCubicMetre(), SpecificHeat: float64(p.SpecificHeat),
		Conductivity: float64(p.Conductivity), ViscosityMPaS: float64(p.Viscosity), Sources: p.Sources,
	}
	return a.print(answer, func(out *printer) {
		out.paragraph("", "", fmt.Sprintf("%s, %s: first ice at %.1f ± %.1f °C (k = 2). At %s: %s, %s, %s, %s.", p.Fluid.Name(), p.Mass,
			float64(p.Freeze.Stated), float64(p.Freeze.Uncertainty), p.Temperature, p.Density, p.SpecificHeat, p.Conductivity, p.Viscosity))
		printCautions(out, []chemistry.Caution{p.Caution})
		printSources(out, p.Sources)
	})
}

func propsAnswerOf(p chemistry.Properties) propsAnswer {
	return propsAnswer{
		Fluid: p.Fluid, MassPercent: p.Mass.Percent(), VolumePercent: p.Volume.Percent(), TemperatureC: float64(p.Temperature),
		FreezePointC: float64(p.Freeze.Stated), FreezeUncertainK: float64(p.Freeze.Uncertainty), BoilingPointC: float64(p.Boiling),
		DensityKgM3: p.Density.KilogramsPerCubicMetre(), SpecificHeat: float64(p.SpecificHeat), Conductivity: float64(p.Conductivity),
		ViscosityMPaS: float64(p.Viscosity), RefractiveIndex20: float64(p.RefractiveIndex20), Brix20: float64(p.Brix20), Sources: p.Sources,
	}
}

// maxTableRows bounds a table of properties: a page, not a flood.
const maxTableRows = 500

// propsTable prints the properties over a range of temperatures.
func (a *app) propsTable(fluid chemistry.Fluid, fraction chemistry.MassFraction, from, to chemistry.Celsius, by chemistry.CelsiusDelta) error {
	if by <= 0 || to < from || float64(to.Sub(from)/by) > maxTableRows {
		return &usageError{fmt.Errorf("--up-to and --every: %s to %s by %s is no table of at most %d rows upwards", from, to, by, maxTableRows)}
	}
	answer := items[propsAnswer]{Items: []propsAnswer{}}
	var rows []chemistry.Properties
	for n := 0; ; n++ {
		t := from.Add(by * chemistry.CelsiusDelta(n))
		if t > to.Add(by/1e6) {
			break
		}
		p, err := chemistry.Props(fluid, fraction, t)
		if err != nil {
			return err
		}
		rows, answer.Items = append(rows, p), append(answer.Items, propsAnswerOf(p))
	}
	return a.print(answer, func(out *printer) {
		p := rows[0]
		out.paragraph("", "", fmt.Sprintf("%s %s: first ice at %.1f ± %.1f °C (k = 2).", p.Fluid.Name(), p.Mass, float64(p.Freeze.Stated), float64(p.Freeze.Uncertainty)))
		out.table([]string{"°C", "kg/l", "J/(kg K)", "W/(m K)", "mPa s"}, len(rows), func(i int) []string {
			p := rows[i]
			return []string{fixed1(float64(p.Temperature)), fmt.Sprintf("%.4f", float64(p.Density)), fmt.Sprintf("%.0f", float64(p.SpecificHeat)),
				fmt.Sprintf("%.3f", float64(p.Conductivity)), fmt.Sprintf("%.2f", float64(p.Viscosity))}
		})
		printSources(out, p.Sources)
	})
}

// oneFraction settles a strength given in one of two bases; water needs none.
func oneFraction(fluid chemistry.Fluid, mass *chemistry.MassFraction, volume *chemistry.VolumeFraction) (chemistry.MassFraction, error) {
	switch {
	case mass != nil && volume != nil:
		return 0, &usageError{fmt.Errorf("--mass or --volume, not both: they are two ways to say one strength")}
	case mass != nil:
		return *mass, nil
	case volume != nil:
		return chemistry.MassFractionOf(fluid, *volume)
	case fluid.IsGlycol():
		return 0, &usageError{fmt.Errorf("--mass or --volume is missing: how much glycol, such as --mass 40%%")}
	}
	return 0, nil
}

// costWords says what a glycol costs in heat carried and viscosity.
func costWords(c chemistry.Cost) string {
	words := fmt.Sprintf("Against water at %s a litre carries %.0f %% of the heat, %.2f kJ per kelvin, and is %.1f times as viscous; the same heat takes %.2f times the flow.",
		c.ComparedAt, 100*c.RelativeHeat, c.HeatPerLitreKelvin, c.RelativeViscosity, c.RelativeFlow)
	return strings.TrimSpace(words + " " + c.Warning)
}

func printProps(out *printer, p chemistry.Properties, cost string) {
	name := p.Fluid.Name()
	if p.Fluid.IsGlycol() {
		name = fmt.Sprintf("%s, %s (%s before mixing at 20 °C)", name, p.Mass, p.Volume)
	}
	out.paragraph("", "", fmt.Sprintf("%s: first ice at %.1f ± %.1f °C (k = 2).", name, float64(p.Freeze.Stated), float64(p.Freeze.Uncertainty)))
	rows := [][]string{
		{"boils at about", p.Boiling.String()},
		{"density at " + p.Temperature.String(), p.Density.String()},
		{"specific heat", p.SpecificHeat.String()},
		{"thermal conductivity", p.Conductivity.String()},
		{"viscosity", p.Viscosity.String()},
		{"refractive index at 20 °C", p.RefractiveIndex20.String()},
		{"sugar refractometer at 20 °C", p.Brix20.String()},
	}
	out.table([]string{"property", "value"}, len(rows), func(i int) []string { return rows[i] })
	out.paragraph("", "", cost)
	printSources(out, p.Sources)
}

func printSources(out *printer, sources []string) {
	if len(sources) == 0 {
		return
	}
	out.line("Sources")
	for _, s := range sources {
		out.paragraph("  ", "    ", s)
	}
}
