// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) loopCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "loop", Short: "Loops: what is in them and what was done to them", Args: cobra.NoArgs}
	cmd.AddCommand(a.loopAddCommand(), a.loopListCommand(), a.loopShowCommand(),
		a.loopFillCommand(), a.loopInspectCommand(), a.loopHandoverCommand(), a.loopTopUpCommand(), a.loopCorrectCommand())
	return cmd
}

func (a *app) loopAddCommand() *cobra.Command {
	var l loops.Loop
	var open bool
	cmd := &cobra.Command{
		Use:   "add --machine NUMBER --holds VOLUME (--sealed | --open)",
		Short: "Record a loop and get its tag",
		Example: `  fillmark loop add --machine 5 --holds 480ml --open \
      --wetted "cold plate:copper/nickel" --wetted radiator:aluminium --wall -10C`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if l.Sealed == open {
				return &usageError{fmt.Errorf("--sealed or --open: one of them says whether the loop has a fill port")}
			}
			loop, err := ask[loops.Loop](cmd.Context(), a, "POST", "/api/v1/loops", l)
			if err != nil {
				return err
			}
			return a.print(loop, func(p *printer) {
				p.line("Loop recorded. Its tag is %s: write it on the label.", loop.Tag)
			})
		},
	}
	f := cmd.Flags()
	f.Uint64Var((*uint64)(&l.Machine), "machine", 0, "`number` of the machine")
	f.StringVar(&l.Name, "name", "", "tells the loops of one machine apart")
	f.BoolVar(&l.Sealed, "sealed", false, "no fill port")
	f.BoolVar(&open, "open", false, "with a fill port or a reservoir")
	need(f, &l.Volume, chemistry.ParseLitre, "holds", "VOLUME", "what the whole loop holds, such as 480ml")
	need(f, &l.VolumeUncertainty, chemistry.ParseLitre, "holds-uncertainty", "VOLUME", "how sure that is (k = 2), such as 20ml")
	f.Var(&listFlag[loops.WettedPart]{target: &l.Wetted, parse: wettedPart, kind: "PART:METAL[/PLATING]"}, "wetted", "a material the liquid touches; repeat")
	f.StringVar(&l.Tubing.Material, "tubing", "", "tubing material")
	f.StringVar(&l.PumpPlace, "pump", "", "where the pump sits")
	f.StringVar(&l.Mounting, "mounting", "", "how the radiator is mounted")
	may(f, &l.ColdestWall, chemistry.ParseCelsius, "wall", "TEMPERATURE", "coldest wetted wall in use, storage or transport; none where nothing can freeze")
	may(f, &l.SetPoint, chemistry.ParseCelsius, "set-point", "TEMPERATURE", "a chiller's set point")
	may(f, &l.EvaporatorMargin, chemistry.ParseCelsiusDelta, "evaporator-margin", "DIFFERENCE", "how far the maker lets the evaporator fall below the set point")
	may(f, &l.Hottest, chemistry.ParseCelsius, "hottest", "TEMPERATURE", "highest coolant temperature (default 60C)")
	f.BoolVar(&l.Reach, "reach", false, "animals or children reach the loop")
	needFlags(cmd, "machine", "holds")
	return cmd
}

func (a *app) loopListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the loops", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, err := ask[items[loops.Loop]](cmd.Context(), a, "GET", "/api/v1/loops", nil)
			if err != nil {
				return err
			}
			return a.print(all, func(p *printer) {
				p.line("%s.", plural(len(all.Items), "loop"))
				p.table([]string{"tag", "machine", "kind", "holds", "charge"}, len(all.Items), func(i int) []string {
					l := all.Items[i]
					return []string{string(l.Tag), fmt.Sprint(l.Machine), sealedWord(l), l.Volume.String(), chargeWords(l.State.Charge)}
				})
			})
		},
	}
}

func sealedWord(l loops.Loop) string {
	if l.Sealed {
		return "sealed"
	}
	return "open"
}

// chargeWords says in one line what is in a loop.
func chargeWords(c *loops.Charge) string {
	switch {
	case c == nil:
		return "empty"
	case !c.Fluid.IsGlycol():
		return c.Fluid.Name()
	case c.Mass == nil:
		return c.Fluid.Name() + ", strength unknown"
	}
	return fmt.Sprintf("%s %s", c.Fluid.Name(), *c.Mass)
}

// chargeShort is [chargeWords] for a table's column.
func chargeShort(c *loops.Charge) string {
	switch {
	case c == nil:
		return "empty"
	case c.Fluid == chemistry.TreatedWater:
		return "water, treated"
	case c.Fluid == chemistry.DeionisedWater:
		return "deionised"
	case c.Mass == nil:
		return strings.ToUpper(string(c.Fluid)) + ", strength ?"
	}
	return strings.ToUpper(string(c.Fluid)) + " " + c.Mass.String()
}

func (a *app) loopShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show TAG", Short: "Show one loop: charge, protection, plan, history", Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			file, err := ask[workshop.File](cmd.Context(), a, "GET", "/api/v1/loops/"+string(tag), nil)
			if err != nil {
				return err
			}
			return a.print(file, func(p *printer) { printFile(p, file) })
		},
	}
}

func printFile(p *printer, file workshop.File) {
	l := file.Loop
	p.line("%s  %s, %s, %s", l.Tag, file.Machine.Name, file.Machine.Kind, file.Owner.Name)
	p.line("%s loop, %s: %s", strings.ToUpper(sealedWord(l)[:1])+sealedWord(l)[1:], l.Volume, chargeWords(l.State.Charge))
	printProtection(p, file.Protection)
	printPlan(p, l.Plan)
	p.line("History")
	p.table([]string{"day", "no.", "what", "by"}, len(file.History), func(i int) []string {
		e := file.History[len(file.History)-1-i]
		return []string{e.Day.Long(), fmt.Sprint(e.ID), string(e.Kind), e.By}
	})
}

func printProtection(p *printer, protection *workshop.Protection) {
	if protection == nil {
		p.line("Freeze point not known: the strength is not on record.")
		return
	}
	words := fmt.Sprintf("First ice at %.1f ± %.1f °C (k = 2)", float64(protection.FreezePoint), float64(protection.Uncertainty))
	switch {
	case protection.Wall == nil:
		words += "; nothing in this loop can freeze."
	case protection.Holds:
		words += fmt.Sprintf("; the coldest wall is %s: it holds.", *protection.Wall)
	default:
		words += fmt.Sprintf("; the coldest wall is %s: IT DOES NOT HOLD.", *protection.Wall)
	}
	p.paragraph("", "", words)
}

func printPlan(p *printer, plan loops.Plan) {
	if len(plan.Tasks) == 0 {
		p.line("Nothing is planned: the loop is not in service.")
		return
	}
	p.line("Plan")
	for _, t := range plan.Tasks {
		state := ""
		if t.Paused {
			state = " (paused)"
		}
		p.line("  %s  %s%s", t.Due.Long(), t.Kind, state)
		for i, c := range t.Clauses {
			lead := "      "
			if i == 0 {
				lead = "    ▐ "
			}
			p.paragraph(lead, "      ", fmt.Sprintf("%s: %s [%s, %s]", c.Day.Long(), c.Text, c.Source, c.Grade))
		}
	}
}
