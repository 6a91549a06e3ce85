// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
)

func (a *app) topupCommand() *cobra.Command {
	var q workshop.TopUpQuestion
	cmd := &cobra.Command{
		Use:   "topup (TAG | --fluid FLUID --mass % --holds VOLUME) --gap VOLUME --with LIQUID",
		Short: "Check a top-up before pouring: go, care or stop, and why",
		Example: `  fillmark topup 7K3QXW --gap 60ml --with water
  fillmark topup --fluid pg --mass 35% --holds 520ml --gap 60ml \
      --metal copper --inhibitor oat --with concentrate:95%:oat --with water --wall -15C`,
		RunE: func(cmd *cobra.Command, args []string) error {
			var answer workshop.TopUpAnswer
			var err error
			switch len(args) {
			case 0:
				answer, err = q.Check()
			case 1:
				q.Tag = args[0]
				answer, err = ask[workshop.TopUpAnswer](cmd.Context(), a, "POST", "/api/v1/topup", q)
			default:
				return oneTag(cmd, args)
			}
			if err != nil {
				return err
			}
			if err := a.print(answer, func(out *printer) { printTopUp(out, answer) }); err != nil {
				return err
			}
			if answer.Verdict == chemistry.Stop {
				return errStop
			}
			return nil
		},
	}
	f := cmd.Flags()
	need(f, &q.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid in the loop: eg, pg, water or deionised")
	may(f, &q.Mass, chemistry.ParseMassPercent, "mass", "PERCENT", "glycol mass % in the loop, recorded or just measured")
	basisFlag(f, &q.Basis)
	may(f, &q.Holds, chemistry.ParseLitre, "holds", "VOLUME", "how much liquid the loop holds now")
	may(f, &q.Room, chemistry.ParseLitre, "gap", "VOLUME", "how much liquid is missing to the fill mark")
	f.StringArrayVar(&q.With, "with", nil, "`liquid` at hand: water, deionised, concentrate:95%, premix:40%:oat, eg:95%, pg:40%, or of a loop on record the number of a container; repeat")
	f.StringVar(&q.Product, "product", "", "the `name` of a bought product at hand that goes by its own label")
	f.Var(&listFlag[chemistry.LabelPair]{target: &q.Label, parse: chemistry.ParseLabelPair, kind: "LINE"}, "label", labelHelp)
	f.BoolVar(&q.Sealed, "sealed", false, "no fill port, so that nothing can get out when the liquid expands")
	f.Var(&listFlag[chemistry.Metal]{target: &q.Metals, parse: chemistry.ParseMetal, kind: "METAL"}, "metal", "a wetted metal: "+acts.Listed(chemistry.Metals())+"; repeat")
	f.Var(&listFlag[chemistry.Material]{target: &q.Materials, parse: chemistry.ParseMaterial, kind: "MATERIAL"}, "material", "a wetted seal or plastic: "+acts.Listed(chemistry.Materials())+"; repeat")
	need(f, &q.Inhibitor, chemistry.ParseInhibitor, "inhibitor", "FAMILY", "inhibitor in the loop: "+acts.Listed(chemistry.Inhibitors()))
	need(f, &q.Biocide, chemistry.ParseBiocide, "biocide", "FAMILY", "biocide in the loop: "+acts.Listed(chemistry.Biocides()))
	may(f, &q.FilledMass, chemistry.ParseMassPercent, "filled-mass", "PERCENT", "glycol mass % at the last fill: a stronger loop now has lost water through its tubes")
	may(f, &q.PH, number(""), "ph", "NUMBER", "pH of the liquid in the loop")
	need(f, &q.WithinReach, acts.ParseTruth, "reach", "YES/NO", "animals or children reach the loop")
	f.Lookup("reach").NoOptDefVal = "yes"
	may(f, &q.At, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature of the liquid when it is topped up (default 20C)")
	may(f, &q.Hottest, chemistry.ParseCelsius, "hottest", "TEMPERATURE", "highest coolant temperature (default 60C)")
	may(f, &q.Protect, chemistry.ParseCelsius, "wall", "TEMPERATURE", "coldest wetted wall in use, storage or transport")
	may(f, &q.Margin, chemistry.ParseCelsiusDelta, "margin", "DIFFERENCE", "freeze point below the wall (default 5K)")
	need(f, &q.Step, parseStep, "step", "MASS", "what the scale reads (default 1g)")
	unsure(f, "mass", &q.MassUncertainty, chemistry.ParseMassPercent)
	unsure(f, "holds", &q.HoldsUncertainty, chemistry.ParseLitre)
	alias(f, "room", "gap")
	alias(f, "protect", "wall")
	return cmd
}

func printTopUp(out *printer, t workshop.TopUpAnswer) {
	out.verdict(t.Verdict)
	then, rows := "then", 2
	if t.Verdict == chemistry.Stop {
		then = "would be"
		if t.Before != nil && t.After != nil && *t.Before == *t.After {
			rows = 1
		}
	}
	if t.Before != nil && t.After != nil {
		out.table([]string{t.Fluid.Name(), "mass %", "vol %", "first ice, °C"}, rows, func(i int) []string {
			name, s := "now", t.Before
			if i == 1 {
				name, s = then, t.After
			}
			return []string{name, fixed1(s.MassPercent), fixed1(s.VolumePercent), fixed1(s.FreezePointC) + " ± " + fixed1(s.FreezePointUncertainK)}
		})
	}
	printReasons(out, t.Reasons)
	if t.Verdict != chemistry.Stop && len(t.Steps) == 0 {
		out.paragraph("", "", "There is nothing to add of what --with names; where there is room, a premix of about its strength fills it.")
	}
	printSteps(out, t.Steps)
	if t.Expansion > 0 {
		out.line("Up to its hottest the liquid in the loop grows by %s.", jug(t.Expansion))
	}
	printCautions(out, t.Cautions)
	printSources(out, t.Sources)
}
