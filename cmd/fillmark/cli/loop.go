// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) loopCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "loop", Short: "Loops: what is in them and what was done to them", Args: cobra.NoArgs}
	cmd.AddCommand(a.loopAddCommand(), a.loopEditCommand(), a.loopListCommand(), a.loopShowCommand(), a.loopLogCommand())
	for _, d := range acts.All() {
		act := a.actCommand(d)
		if d.Kind == loops.KindStep {
			a.orSheet(act)
		}
		if d.Name == "poured" {
			act.SuggestFor = []string{"topup"}
		}
		cmd.AddCommand(act)
	}
	return cmd
}

func (a *app) loopAddCommand() *cobra.Command {
	said := acts.Said{}
	var like loops.Tag
	cmd := addCommand(a, said, adding[loops.Loop, loops.Loop]{
		record: acts.Loops(), path: "/api/v1/loops", short: "Record a loop and get its tag",
		example: `  fillmark loop add --machine 5 --holds 480ml --open \
      --wetted "cold plate:copper/nickel" --wetted radiator:aluminium --wall -10C
  fillmark loop add --machine 6 --like 7K3QXW    # of an identical machine`,
		like: func(ctx context.Context, c *client) (loops.Loop, error) {
			if like == "" {
				return loops.Loop{}, nil
			}
			file, err := call[workshop.File](ctx, c, "GET", "/api/v1/loops/"+string(like), nil)
			built := acts.BuiltLike(file.Loop)
			if _, typed := said["holds"]; typed {
				built.VolumeUncertainty, built.VolumeKnown = 0, loops.Known{}
			}
			return loops.Loop{Name: file.Loop.Name, Construction: built}, err
		},
		print: func(p *printer, l loops.Loop) {
			p.line("Loop recorded. Its tag is %s: write it on a label, or print one from its page.", l.Tag)
		},
	})
	need(cmd.Flags(), &like, loops.ParseTag, "like", "TAG", "built like the loop with the tag, but for what is typed beside it: assumed until somebody looks")
	var open bool
	cmd.Flags().BoolVar(&open, "open", false, "with a fill port or a reservoir: not sealed")
	needed := cmd.PreRunE
	cmd.PreRunE = func(cmd *cobra.Command, args []string) error {
		sealed := cmd.Flags().Changed("sealed")
		if open == sealed && (open || like == "") {
			return &usageError{fmt.Errorf("--sealed or --open: one of them says whether the loop has a fill port")}
		}
		if open {
			said["sealed"] = []string{"no"}
		}
		return needed(cmd, args)
	}
	return cmd
}

func (a *app) loopEditCommand() *cobra.Command {
	return editCommand(a, editing[loops.Loop, workshop.File, web.LoopAnswer]{
		record: acts.Loops(), use: "TAG", short: "Change how a loop is built; what happened to it is recorded, not edited", args: oneTag,
		path: func(argument string) (string, error) {
			tag, err := loops.ParseTag(argument)
			return "/api/v1/loops/" + string(tag), err
		},
		example: `  fillmark loop edit 7K3QXW --tubing EPDM --bore 10mm --outer 13mm --radiator-size 280mm`,
		in:      func(file *workshop.File) (*loops.Loop, *uint64) { return &file.Loop, &file.Loop.Revision },
		print: func(p *printer, l web.LoopAnswer) {
			p.line("Loop %s changed, now revision %d.", l.Tag, l.Revision)
			if l.Verdict == "" {
				return
			}
			p.line("What is in it, %s, as the loop now stands:", chargeWords(l.State.Charge))
			p.verdict(l.Verdict)
			printActReasons(p, l.Reasons)
		},
	})
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
			return tell(cmd.Context(), a, "GET", path, nil, func(p *printer, all items[workshop.LoopLine]) {
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
	f.StringVar(&sealed, "sealed", "", "only sealed ones, with no fill port (true), or open ones (false)")
	f.StringVar(&where, "where", "", "only those \"in service\", \"in the workshop\", failed or retired")
	offer(f, "sort", []string{"tag", "owner", "due", "filled", "volume"})
	offer(f, "where", workshop.LoopPlaces())
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
		return []string{string(l.Tag), ownerWords(l.Owner, l.OwnerName), machine, sealedWord(l.Loop), l.Volume.String(), contentShort(l.State), next, l.NextWhy}
	})
}

func sealedWord(l loops.Loop) string {
	if l.Sealed {
		return "sealed"
	}
	return "open"
}

// contentWords says in one line what is in a loop; only a drain makes it empty.
func contentWords(s loops.State) string {
	if s.Charge == nil && s.Empty.IsZero() {
		return "what is in it is not known"
	}
	return chargeWords(s.Charge)
}

// contentShort is [contentWords] for a table's column.
func contentShort(s loops.State) string {
	if s.Charge == nil && s.Empty.IsZero() {
		return "not known"
	}
	return chargeShort(s.Charge)
}

// chargeWords says in one line what a charge is; empty where there is none.
func chargeWords(c *loops.Charge) string {
	switch {
	case c == nil:
		return "empty"
	case !c.Fluid.IsGlycol():
		return c.Fluid.Name()
	case c.Mass == nil:
		return c.Fluid.Name() + ", strength unknown"
	}
	return fmt.Sprintf("%s %s%s", c.Fluid.Name(), *c.Mass, c.MassKnown.Mark())
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
