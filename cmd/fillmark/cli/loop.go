// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) loopCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "loop", Short: "Loops: what is in them and what was done to them", Args: cobra.NoArgs}
	cmd.AddCommand(a.loopAddCommand(), a.loopCopyCommand(), a.loopEditCommand(),
		a.loopListCommand(), a.loopShowCommand(), a.loopFaultsCommand(), a.loopHistoryCommand(), a.loopStepsCommand(),
		a.loopFillCommand(), a.loopInspectCommand(), a.loopHandoverCommand(), a.loopTopUpCommand(), a.loopCorrectCommand())
	cmd.AddCommand(a.workCommands()...)
	cmd.AddCommand(a.lifeCommands()...)
	return cmd
}

// loopFlags are a loop's name and construction, but whether it is sealed,
// which adding asks for and editing changes.
func loopFlags(f *pflag.FlagSet, l *loops.Loop) {
	f.StringVar(&l.Name, "name", l.Name, "tells the loops of one machine apart")
	need(f, &l.Volume, chemistry.ParseLitre, "holds", "VOLUME", "what the whole loop holds, such as 480ml")
	need(f, &l.VolumeUncertainty, chemistry.ParseLitre, "holds-uncertainty", "VOLUME", "how sure that is (k = 2), such as 20ml")
	f.Var(&listFlag[loops.WettedPart]{target: &l.Wetted, parse: workshop.ParseWettedPart, kind: "PART:METAL[/PLATING]"}, "wetted", "a material the liquid touches, with its plating; repeat")
	f.StringVar(&l.Tubing.Material, "tubing", l.Tubing.Material, "tubing material")
	need(f, &l.Tubing.BoreMM, number("mm"), "bore", "LENGTH", "inner diameter of the tubing, such as 10mm")
	need(f, &l.Tubing.OuterMM, number("mm"), "outer", "LENGTH", "outer diameter of the tubing, such as 13mm")
	need(f, &l.Tubing.LengthMM, number("mm"), "tube-length", "LENGTH", "all the tubing together, such as 700mm")
	f.StringVar(&l.PumpPlace, "pump", l.PumpPlace, "where the pump sits")
	f.StringVar(&l.Mounting, "mounting", l.Mounting, "how the radiator is mounted")
	need(f, &l.RadiatorSizeMM, number("mm"), "radiator", "LENGTH", "size of the radiator, such as 280mm")
	may(f, &l.ColdestWall, chemistry.ParseCelsius, "wall", "TEMPERATURE", "coldest wetted wall in use, storage or transport; none where nothing can freeze")
	may(f, &l.SetPoint, chemistry.ParseCelsius, "set-point", "TEMPERATURE", "a chiller's set point")
	may(f, &l.EvaporatorMargin, chemistry.ParseCelsiusDelta, "evaporator-margin", "DIFFERENCE", "how far the maker lets the evaporator fall below the set point")
	may(f, &l.Hottest, chemistry.ParseCelsius, "hottest", "TEMPERATURE", "highest coolant temperature (default 60C)")
	f.BoolVar(&l.Reach, "reach", l.Reach, "animals or children reach the loop")
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
	f.BoolVar(&l.Sealed, "sealed", false, "no fill port")
	f.BoolVar(&open, "open", false, "with a fill port or a reservoir")
	loopFlags(f, &l)
	needFlags(cmd, "machine", "holds")
	return cmd
}

func (a *app) loopCopyCommand() *cobra.Command {
	var wanted web.LoopCopy
	cmd := &cobra.Command{
		Use:     "copy TAG --machine NUMBER",
		Short:   "Record a loop built like another one, for identical machines",
		Example: `  fillmark loop copy 7K3QXA --machine 6`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			loop, err := ask[loops.Loop](cmd.Context(), a, "POST", "/api/v1/loops/"+string(tag)+"/copy", wanted)
			if err != nil {
				return err
			}
			return a.print(loop, func(p *printer) {
				p.line("Loop recorded, built like %s. Its tag is %s: write it on the label.", tag, loop.Tag)
			})
		},
	}
	f := cmd.Flags()
	f.Uint64Var((*uint64)(&wanted.Machine), "machine", 0, "`number` of the machine it is in")
	f.StringVar(&wanted.Name, "name", "", "tells the loops of one machine apart (default the other's)")
	needFlags(cmd, "machine")
	return cmd
}

func (a *app) loopEditCommand() *cobra.Command {
	var revision uint64
	var write func(*loops.Loop) error
	cmd := &cobra.Command{
		Use: "edit TAG [what changes]", Short: "Change how a loop is built; what happened to it is recorded, not edited", Args: oneTag,
		Example: `  fillmark loop edit 7K3QXA --tubing EPDM --bore 10mm --outer 13mm --radiator 280mm`,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			return a.with(cmd.Context(), func(c *client) error {
				path := "/api/v1/loops/" + string(tag)
				file, err := call[workshop.File](cmd.Context(), c, "GET", path, nil)
				if err != nil {
					return err
				}
				if err := write(&file.Loop); err != nil {
					return err
				}
				settle(&file.Loop.Revision, revision)
				loop, err := call[loops.Loop](cmd.Context(), c, "PUT", path, file.Loop)
				if err != nil {
					return err
				}
				return a.print(loop, func(p *printer) {
					p.line("Loop %s changed, now revision %d.", loop.Tag, loop.Revision)
				})
			})
		},
	}
	write = editFlags(cmd, func(f *pflag.FlagSet, l *loops.Loop) {
		loopFlags(f, l)
		f.BoolVar(&l.Sealed, "sealed", l.Sealed, "no fill port (--sealed=false: with one)")
	})
	revisionFlag(cmd.Flags(), &revision)
	return cmd
}

func (a *app) loopListCommand() *cobra.Command {
	var sort, owner, machine, fluid, metal, lot, due, sealed, where string
	cmd := &cobra.Command{
		Use: "list", Short: "List the loops", Args: noArgs,
		Example: `  fillmark loop list --fluid eg --metal aluminium
  fillmark loop list --due 2026-12-31 --sort due`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			path := query("/api/v1/loops", "sort", sort, "owner", owner, "machine", machine, "fluid", fluid,
				"metal", metal, "lot", lot, "due", due, "sealed", sealed, "where", where)
			all, err := ask[items[workshop.LoopLine]](cmd.Context(), a, "GET", path, nil)
			if err != nil {
				return err
			}
			return a.print(all, func(p *printer) {
				p.line("%s.", plural(len(all.Items), "loop"))
				printLoopLines(p, all.Items)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&sort, "sort", "", "`order`: tag, owner, due, filled or volume (default by number)")
	f.StringVar(&owner, "owner", "", "only those of the owner with the `number`")
	f.StringVar(&machine, "machine", "", "only those in the machine with the `number`")
	f.StringVar(&fluid, "fluid", "", "only those with the `fluid`: eg, pg, water or deionised")
	f.StringVar(&metal, "metal", "", "only those where the `metal` is wetted")
	f.StringVar(&lot, "lot", "", "only those that the `lot` went into")
	f.StringVar(&due, "due", "", "only those with something due by the `day`")
	f.StringVar(&sealed, "sealed", "", "only sealed ones (true) or open ones (false)")
	f.StringVar(&where, "where", "", "only those \"in service\", \"in the workshop\", failed or retired")
	return cmd
}

// printLoopLines prints loops as a list.
func printLoopLines(p *printer, lines []workshop.LoopLine) {
	p.list([]string{"tag", "owner", "machine", "kind", "holds", "charge", "next", "why"}, len(lines), func(i int) []string {
		l := lines[i]
		machine := strings.TrimSpace(fmt.Sprintf("%d %s %s", l.Machine, l.MachineName, l.Name))
		next := string(l.Place)
		if l.NextTask != "" {
			next = l.NextDue.String() + " " + string(l.NextTask)
		}
		return []string{string(l.Tag), ownerWords(l.Owner, l.OwnerName), machine, sealedWord(l.Loop), l.Volume.String(), chargeShort(l.State.Charge), next, l.NextWhy}
	})
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
	case c.Fluid == "":
		return "not known"
	case c.Fluid == chemistry.TreatedWater:
		return "water, treated"
	case c.Fluid == chemistry.DeionisedWater:
		return "deionised"
	case c.Mass == nil:
		return strings.ToUpper(string(c.Fluid)) + ", strength ?"
	}
	return strings.ToUpper(string(c.Fluid)) + " " + c.Mass.String()
}
