// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// benchCommand groups the bench calculations.
func (a *app) benchCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "bench", Short: "Bench calculations: identify, wall, rinse, dose, water, clean, loss, balance, dew", Args: cobra.NoArgs}
	cmd.AddCommand(a.benchIdentifyCommand(), a.benchWallCommand(), a.benchRinseCommand(), a.benchDoseCommand(),
		a.benchWaterCommand(), a.benchCleanCommand(), a.benchLossCommand(), a.benchBalanceCommand(), a.benchDewCommand())
	return cmd
}

// stopIf turns a stop verdict into its exit status.
func stopIf(v chemistry.Verdict) error {
	if v == chemistry.Stop {
		return errStop
	}
	return nil
}

func (a *app) benchWallCommand() *cobra.Command {
	var running, storage, transit *chemistry.Celsius
	var margin *chemistry.CelsiusDelta
	var built loops.Construction
	var chiller bool
	cmd := &cobra.Command{
		Use: "wall", Short: "What to protect against: the coldest wetted wall",
		Example: "  fillmark bench wall --running 18C --storage -5C\n  fillmark bench wall --chiller --set-point 5C --evaporator-margin 8K",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			switch {
			case chiller && built.SetPoint == nil:
				return &loops.InvalidError{Field: "set point", Reason: "a chiller can freeze at its evaporator in a warm room: say the coldest liquid temperature that is ever set"}
			case chiller && built.EvaporatorMargin == nil:
				return &loops.InvalidError{Field: "evaporator margin", Reason: "a chiller can freeze at its evaporator in a warm room: say how much colder than the liquid its maker lets the evaporator get"}
			}
			where := "evaporator wall"
			var unanswered []string
			for _, x := range []struct {
				place string
				gets  *chemistry.Celsius
			}{{"coldest place in use", running}, {"coldest place in storage", storage}, {"coldest place on the way", transit}} {
				switch {
				case x.gets == nil:
					unanswered = append(unanswered, x.place)
				case built.ColdestWall == nil || *x.gets < *built.ColdestWall:
					built.ColdestWall, where = x.gets, x.place
				}
			}
			if err := (loops.Loop{Construction: built}).Validate(); err != nil {
				return err
			}
			wall, ok := built.Wall()
			if !ok {
				return &loops.InvalidError{Field: "coldest wall", Reason: "say how cold it gets in use, in storage or on the way"}
			}
			if built.ColdestWall != nil && wall < *built.ColdestWall {
				where = "evaporator wall"
			}
			p, err := chemistry.Protect(wall, margin)
			if err != nil {
				return err
			}
			answer := struct {
				WallC      float64  `json:"wall_c"`
				Where      string   `json:"where"`
				TargetC    float64  `json:"target_freeze_point_c"`
				CanFreeze  bool     `json:"can_freeze"`
				Advice     []string `json:"advice"`
				Unanswered []string `json:"unanswered"`
			}{float64(wall), where, float64(p.Target), p.CanFreeze, p.Advice, unanswered}
			return a.print(answer, func(out *printer) {
				wanted := "nothing can freeze there"
				if p.CanFreeze {
					wanted = "the freeze point wanted is " + p.Target.String()
				}
				out.paragraph("", "", fmt.Sprintf("The coldest wall is %s (%s): %s.", wall, where, wanted))
				for _, line := range p.Advice {
					out.paragraph("  - ", "    ", line)
				}
				for _, place := range unanswered {
					out.paragraph("  ? ", "    ", place+": not asked, taken as no colder")
				}
			})
		},
	}
	f := cmd.Flags()
	may(f, &running, chemistry.ParseCelsius, "running", "TEMPERATURE", "coldest air around the running machine")
	may(f, &storage, chemistry.ParseCelsius, "storage", "TEMPERATURE", "coldest air where it stands")
	may(f, &transit, chemistry.ParseCelsius, "transit", "TEMPERATURE", "coldest air on the way")
	f.BoolVar(&chiller, "chiller", false, "the machine makes cold")
	may(f, &built.SetPoint, chemistry.ParseCelsius, "set-point", "TEMPERATURE", "coldest liquid temperature that is ever set")
	may(f, &built.EvaporatorMargin, chemistry.ParseCelsiusDelta, "evaporator-margin", "DIFFERENCE", "how much colder the evaporator may get, by its maker")
	may(f, &margin, chemistry.ParseCelsiusDelta, "margin", "DIFFERENCE", "freeze point below the wall (default 5K)")
	return cmd
}

func (a *app) benchRinseCommand() *cobra.Command {
	var left, holds chemistry.Litre
	residue := 0.01
	cmd := &cobra.Command{
		Use: "rinse --left VOLUME --holds VOLUME", Short: "How many rinses bring the old liquid below a share",
		Example: "  fillmark bench rinse --left 15ml --holds 90ml --old-liquid 1%",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			n, share, err := chemistry.Rinses(left, holds, residue)
			if err != nil {
				return err
			}
			answer := struct {
				Rinses  int     `json:"rinses"`
				Residue float64 `json:"residue_percent"`
			}{n, 100 * share}
			return a.print(answer, func(out *printer) {
				out.paragraph("", "", fmt.Sprintf("%s: %.3g %% of the old liquid is then left, (left/volume)^n; the fill thins it once more.", plural(n, "rinse"), 100*share))
			})
		},
	}
	f := cmd.Flags()
	need(f, &left, chemistry.ParseLitre, "left", "VOLUME", "liquid left in the loop after draining")
	need(f, &holds, chemistry.ParseLitre, "holds", "VOLUME", "how much liquid the loop holds")
	need(f, &residue, share, "old-liquid", "PERCENT", "wanted share of the old liquid (default 1%)")
	needFlags(cmd, "left", "holds")
	return cmd
}

func (a *app) benchDoseCommand() *cobra.Command {
	var dose chemistry.Dose
	var coolant chemistry.Litre
	var topUp chemistry.Litre
	var byVolume *chemistry.VolumeFraction
	cmd := &cobra.Command{
		Use: "dose --holds VOLUME (--per-litre MASS | --by-volume %)", Short: "How much of an additive its label asks for, and what a top-up leaves of it",
		Example: "  fillmark bench dose --product inhibitor --per-litre 20g --holds 480ml --after-topup 60ml --spent-below 50%",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			if byVolume != nil {
				dose.Volume = *byVolume
			}
			mass, volume, err := dose.Amount(coolant, 0)
			if err != nil {
				return err
			}
			answer := struct {
				MassG    float64  `json:"mass_g"`
				VolumeML float64  `json:"volume_ml"`
				After    *float64 `json:"after_topup_percent,omitempty"`
				Spent    bool     `json:"spent"`
			}{MassG: mass.Grams(), VolumeML: volume.Millilitres()}
			if topUp > 0 {
				level := chemistry.DoseLevel{Name: dose.Name, Level: 1, SpentBelow: dose.SpentBelow}.Diluted(float64(coolant / (coolant + topUp)))
				answer.After, answer.Spent = new(100*level.Level), level.Spent()
			}
			return a.print(answer, func(out *printer) {
				words := ""
				if mass > 0 {
					words = mass.String()
				}
				if volume > 0 {
					if words != "" {
						words += ", which is "
					}
					words += volume.String()
				}
				out.paragraph("", "", fmt.Sprintf("By the label: %s for %s of coolant.", words, coolant))
				if answer.After != nil {
					spent := "still above what the label asks for"
					if answer.Spent {
						spent = "below what the label asks for: dose again by the label, or change the coolant"
					}
					out.paragraph("", "", fmt.Sprintf("After a top-up of %s without it %.0f %% of the dose is left: %s.", topUp, *answer.After, spent))
				}
				printCautions(out, chemistry.TaskCautions(chemistry.TaskDose))
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&dose.Name, "product", "additive", "`name` of the product as its label says")
	need(f, &dose.PerLitre, chemistry.ParseKilogram, "per-litre", "MASS", "additive per litre of coolant, by its label")
	may(f, &byVolume, chemistry.ParseVolumePercent, "by-volume", "PERCENT", "additive volume % of the coolant, by its label")
	need(f, &dose.Density, chemistry.ParseDensity, "additive-density", "DENSITY", "density of the additive, by its label")
	need(f, &coolant, chemistry.ParseLitre, "holds", "VOLUME", "how much liquid the loop holds")
	need(f, &topUp, chemistry.ParseLitre, "after-topup", "VOLUME", "a top-up without the additive")
	need(f, &dose.SpentBelow, share, "spent-below", "PERCENT", "share of the dose below which the label calls it spent, such as 50%")
	needFlags(cmd, "holds")
	return cmd
}

func (a *app) benchCleanCommand() *cobra.Command {
	var r chemistry.CleaningRequest
	cmd := &cobra.Command{
		Use: "clean --agent AGENT", Short: "Check a way of cleaning: what must not meet what",
		Example: "  fillmark bench clean --agent acid --metal copper --metal aluminium --material epdm\n  fillmark bench clean --agent vinegar --metal copper --material none",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			reasons, err := chemistry.CheckCleaning(r)
			if err != nil {
				return err
			}
			answer := struct {
				Verdict  chemistry.Verdict   `json:"verdict"`
				Reasons  []chemistry.Reason  `json:"reasons"`
				Cautions []chemistry.Caution `json:"cautions"`
			}{chemistry.Judge(reasons), chemistry.WorstFirst(reasons), chemistry.CleaningCautions(r.Agents)}
			err = a.print(answer, func(out *printer) { printJudgement(out, reasons); printCautions(out, answer.Cautions) })
			return errors.Join(err, stopIf(answer.Verdict))
		},
	}
	f := cmd.Flags()
	f.Var(&listFlag[chemistry.Agent]{target: &r.Agents, parse: chemistry.ParseAgent, kind: "AGENT"}, "agent", "what to clean with: "+acts.Listed(chemistry.Agents())+", or a usual name such as vinegar; repeat")
	f.Var(&listFlag[chemistry.Metal]{target: &r.Metals, parse: chemistry.ParseMetal, kind: "METAL"}, "metal", "a wetted metal: "+acts.Listed(chemistry.Metals())+"; repeat")
	f.Var(&listFlag[chemistry.Material]{target: &r.Materials, parse: chemistry.ParseMaterial, kind: "MATERIAL"}, "material", "a wetted seal or plastic: "+acts.Listed(chemistry.Materials())+"; none for a bare part; repeat")
	need(f, &r.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid still in the loop")
	need(f, &r.Inhibitor, chemistry.ParseInhibitor, "inhibitor", "FAMILY", "inhibitor still in the loop: "+acts.Listed(chemistry.Inhibitors()))
	f.BoolVar(&r.Ignition, "ignition", false, "flame, spark or a running machine is near")
	f.BoolVar(&r.Hot, "hot", false, "the loop or the agent is above 40 °C")
	need(f, &r.Biocide, chemistry.ParseBiocide, "biocide", "FAMILY", "biocide still in the loop: "+acts.Listed(chemistry.Biocides()))
	needFlags(cmd, "agent")
	return cmd
}

func (a *app) benchLossCommand() *cobra.Command {
	r := chemistry.LossRequest{Air: 25, Coolant: 40, Humidity: 0.5, Duty: 1}
	var tube chemistry.Tube
	var basis string
	cmd := &cobra.Command{
		Use: "loss --fluid FLUID --tubing MATERIAL --tube-length LENGTH --bore LENGTH --outer LENGTH", Short: "Estimate the water lost through tube walls",
		Example: "  fillmark bench loss --fluid pg --mass 25% --tubing epdm --tube-length 0.7m --bore 7mm --outer 12mm",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if r.Fluid.IsGlycol() && !cmd.Flags().Changed("mass") {
				return &usageError{errors.New("--mass is missing: how much glycol, such as --mass 25%")}
			}
			if err := byVolume(r.Fluid, basis, &r.Mass); err != nil {
				return err
			}
			r.Tubes = []chemistry.Tube{tube}
			loss, err := chemistry.PermeationLoss(r)
			if err != nil {
				return err
			}
			return a.print(loss, func(out *printer) {
				out.paragraph("", "", fmt.Sprintf("About %.2g g of water a year leaves through this tube; an estimate, its weakest figure is %s. A loop's own measured loss beats it.", loss.GramsPerYear, loss.Grade.Name()))
				out.paragraph("", "", fmt.Sprintf("Taken: coolant %s, air %s at %.0f %% humidity, running %.0f %% of the time, %.0f Pa of vapour pressure between.", r.Coolant, r.Air, 100*r.Humidity, 100*r.Duty, loss.Drive))
				out.paragraph("", "", loss.Advice)
				printSources(out, loss.Sources)
			})
		},
	}
	f := cmd.Flags()
	need(f, &r.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid in the loop")
	need(f, &r.Mass, chemistry.ParseMassPercent, "mass", "PERCENT", "glycol mass %")
	basisFlag(f, &basis)
	f.StringVar(&tube.Material, "tubing", "", "tube `MATERIAL`: "+strings.Join(chemistry.TubeMaterials(), ", "))
	need(f, &tube.Length, parseMetres, "tube-length", "LENGTH", "all the tubing together, such as 0.7m")
	need(f, &tube.Inner, acts.ParseMillimetres, "bore", "LENGTH", "inner diameter of the tubing, such as 7mm")
	need(f, &tube.Outer, acts.ParseMillimetres, "outer", "LENGTH", "outer diameter of the tubing, such as 12mm")
	need(f, &r.Coolant, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature of the running coolant (default 40C)")
	need(f, &r.Air, chemistry.ParseCelsius, "room", "TEMPERATURE", "air of the room, around the tube (default 25C)")
	need(f, &r.Humidity, share, "humidity", "PERCENT", "relative humidity of the air (default 50%)")
	need(f, &r.Duty, share, "duty", "PERCENT", "share of the time it runs (default 100%)")
	needFlags(cmd, "fluid", "tubing", "tube-length", "bore", "outer")
	return cmd
}

// parseMetres reads a length and returns it in m.
func parseMetres(text string) (float64, error) {
	mm, err := acts.ParseMillimetres(text)
	return mm / 1000, err
}
