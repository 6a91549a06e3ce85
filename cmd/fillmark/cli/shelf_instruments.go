// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) instrumentCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "instrument", Short: "Instruments with their zero and buffer checks", Args: cobra.NoArgs}
	cmd.AddCommand(a.instrumentAddCommand(), a.instrumentListCommand(), a.instrumentCheckCommand(), a.instrumentRetireCommand())
	return cmd
}

func (a *app) instrumentAddCommand() *cobra.Command {
	var i loops.Instrument
	cmd := &cobra.Command{
		Use: "add --kind KIND --name TEXT", Short: "Record an instrument", Args: noArgs,
		Example: `  fillmark shelf instrument add --kind refractometer --name "hand refractometer" --serial R-9`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/instruments", i, func(p *printer, made loops.Instrument) {
				p.line("Instrument %d recorded: %s.", made.ID, made.Name)
			})
		},
	}
	f := cmd.Flags()
	need(f, &i.Kind, choice("kind", loops.InstrumentKinds()), "kind", "KIND", "refractometer, hydrometer, \"pH meter\", \"conductivity meter\", thermometer or scale")
	f.StringVar(&i.Name, "name", "", "how the workshop calls it")
	f.StringVar(&i.Serial, "serial", "", "serial number")
	needFlags(cmd, "kind", "name")
	return cmd
}

func (a *app) instrumentListCommand() *cobra.Command {
	var inUse bool
	cmd := &cobra.Command{
		Use: "list", Short: "List the instruments with their last checks",
		Example: `  fillmark shelf instrument list --in-use`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, err := ask[items[loops.Instrument]](cmd.Context(), a, "GET", "/api/v1/instruments", nil)
			if err != nil {
				return err
			}
			all.Items = slices.DeleteFunc(all.Items, func(i loops.Instrument) bool { return inUse && !i.Retired.IsZero() })
			return a.print(all, func(p *printer) {
				p.line("%s.", plural(len(all.Items), "instrument"))
				p.list([]string{"no.", "kind", "name", "serial", "last check", "retired"}, len(all.Items), func(n int) []string {
					i := all.Items[n]
					return []string{fmt.Sprint(i.ID), string(i.Kind), i.Name, i.Serial, lastCheck(i), i.Retired.String()}
				})
			})
		},
	}
	cmd.Flags().BoolVar(&inUse, "in-use", false, "only those that are not retired")
	return cmd
}

func lastCheck(i loops.Instrument) string {
	if len(i.Checks) == 0 {
		return "never"
	}
	c := i.Checks[len(i.Checks)-1]
	words := fmt.Sprintf("%s: %g for %g %s (%s)", c.Day, c.Read, c.Expected, c.Unit, c.Against)
	if c.Adjusted {
		words += ", adjusted"
	}
	return words
}

func (a *app) instrumentCheckCommand() *cobra.Command {
	var c loops.InstrumentCheck
	cmd := &cobra.Command{
		Use: "check NUMBER --against TEXT --expected NUMBER --read NUMBER", Short: "Record a zero or buffer check",
		Example: `  fillmark shelf instrument check 1 --against "distilled water at 20C" --expected 0 --read 0.2 --unit brix --adjusted`,
		Args:    oneNumber[loops.InstrumentID]("instrument"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/instruments/"+args[0]+"/checks", c, func(p *printer, i loops.Instrument) {
				p.line("Check of instrument %d recorded: %s.", i.ID, lastCheck(i))
			})
		},
	}
	f := cmd.Flags()
	need(f, &c.Day, loops.ParseDay, "day", "DAY", "the day of the check (default today)")
	f.StringVar(&c.Against, "against", "", "what was known: \"distilled water at 20C\", \"buffer pH 7.00\"")
	need(f, &c.Expected, number(""), "expected", "NUMBER", "what it should read")
	need(f, &c.Read, number(""), "read", "NUMBER", "what it read")
	f.StringVar(&c.Unit, "unit", "", "unit of both")
	f.BoolVar(&c.Adjusted, "adjusted", false, "it was set right afterwards")
	needFlags(cmd, "against", "expected", "read")
	return cmd
}

func (a *app) instrumentRetireCommand() *cobra.Command {
	var on web.OnDay
	cmd := &cobra.Command{
		Use: "retire NUMBER", Short: "Record that an instrument left use",
		Example: `  fillmark shelf instrument retire 1`,
		Args:    oneNumber[loops.InstrumentID]("instrument"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/instruments/"+args[0]+"/retire", on, func(p *printer, i loops.Instrument) {
				p.line("Instrument %d left use on %s.", i.ID, i.Retired.Long())
			})
		},
	}
	need(cmd.Flags(), &on.Day, loops.ParseDay, "day", "DAY", "the day (default today)")
	return cmd
}

func (a *app) sampleCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "sample", Short: "Retained samples", Args: cobra.NoArgs}
	cmd.AddCommand(a.sampleAddCommand(), a.sampleListCommand(), a.sampleDiscardCommand())
	return cmd
}

func (a *app) sampleAddCommand() *cobra.Command {
	var kept web.KeptSample
	cmd := &cobra.Command{
		Use: "add TAG --place TEXT", Short: "Record liquid of a loop that is kept back", Args: oneTag,
		Example: `  fillmark shelf sample add 7K3QXW --place "rack B2" --keep 2028-12-03`,
		RunE: func(cmd *cobra.Command, args []string) error {
			kept.Tag = args[0]
			return tell(cmd.Context(), a, "POST", "/api/v1/samples", kept, func(p *printer, s loops.RetainedSample) {
				p.line("Sample %d recorded: %s. Write the number on the bottle.", s.ID, s.Place)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&kept.Place, "place", "", "where it stands")
	need(f, &kept.Taken, loops.ParseDay, "day", "DAY", "the day it was taken (default today)")
	need(f, &kept.Keep, loops.ParseDay, "keep", "DAY", "until when it is kept")
	f.Uint64Var((*uint64)(&kept.Entry), "entry", 0, "`number` of the entry it was taken with")
	f.StringVar(&kept.Note, "note", "", "what is to be seen")
	needFlags(cmd, "place")
	return cmd
}

func (a *app) sampleListCommand() *cobra.Command {
	var kept bool
	var tag loops.Tag
	var sort string
	cmd := &cobra.Command{
		Use: "list", Short: "List the retained samples",
		Example: `  fillmark shelf sample list --kept`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, err := ask[items[web.KeptSample]](cmd.Context(), a, "GET", "/api/v1/samples", nil)
			if err != nil {
				return err
			}
			all.Items = slices.DeleteFunc(all.Items, func(s web.KeptSample) bool {
				return kept && !s.Discarded.IsZero() || tag != "" && s.Tag != string(tag)
			})
			if sort == byKeep {
				slices.SortStableFunc(all.Items, func(a, b web.KeptSample) int { return a.Keep.Compare(b.Keep) })
			}
			return a.print(all, func(p *printer) {
				p.line("%s.", plural(len(all.Items), "sample"))
				p.list([]string{"no.", "loop", "taken", "place", "keep until", "discarded"}, len(all.Items), func(i int) []string {
					s := all.Items[i]
					return []string{fmt.Sprint(s.ID), s.Tag, s.Taken.String(), s.Place, s.Keep.String(), s.Discarded.String()}
				})
			})
		},
	}
	f := cmd.Flags()
	f.BoolVar(&kept, "kept", false, "only those that were not poured away")
	need(f, &tag, loops.ParseTag, "tag", "TAG", "only those of the loop")
	need(f, &sort, choice("sort", []string{byNumber, byKeep}), "sort", "ORDER", "number (default) or keep, the day until which it is kept")
	return cmd
}

// The orders of the list of samples.
const (
	byNumber = "number"
	byKeep   = "keep"
)

func (a *app) sampleDiscardCommand() *cobra.Command {
	var on web.OnDay
	cmd := &cobra.Command{
		Use: "discard NUMBER", Short: "Record that a sample was poured away",
		Example: `  fillmark shelf sample discard 1`,
		Args:    oneNumber[loops.SampleID]("sample"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/samples/"+args[0]+"/discard", on, func(p *printer, s loops.RetainedSample) {
				p.line("Sample %d was discarded on %s.", s.ID, s.Discarded.Long())
			})
		},
	}
	need(cmd.Flags(), &on.Day, loops.ParseDay, "day", "DAY", "the day (default today)")
	return cmd
}

func (a *app) wasteCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "waste", Short: "The used-fluid log", Args: cobra.NoArgs}
	cmd.AddCommand(a.wasteAddCommand(), a.wasteListCommand())
	return cmd
}

func (a *app) wasteAddCommand() *cobra.Command {
	var w web.Waste
	var tag loops.Tag
	cmd := &cobra.Command{
		Use: "add --fluid FLUID --out VOLUME --went TEXT", Short: "Record used fluid and where it went", Args: noArgs,
		Example: `  fillmark shelf waste add --fluid pg --out 3.2l --hazard "glycol with biocide" --went "contractor, note 4471"`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			w.Tag = string(tag)
			return tell(cmd.Context(), a, "POST", "/api/v1/used-fluid", w, func(p *printer, u loops.UsedFluid) {
				p.line("Line %d of the used-fluid log: %s, %s.", u.ID, u.Volume, u.Went)
			})
		},
	}
	f := cmd.Flags()
	need(f, &tag, loops.ParseTag, "tag", "TAG", "tag of the loop it is from; none: from several")
	need(f, &w.Day, loops.ParseDay, "day", "DAY", "the day (default today)")
	need(f, &w.Fluid, orUnknown, "fluid", "FLUID", "fluid: eg, pg, water (with additives), deionised or unknown")
	need(f, &w.Volume, chemistry.ParseLitre, "out", "VOLUME", "how much came out")
	f.StringVar(&w.Hazard, "hazard", "", "what is in what came out")
	f.StringVar(&w.Went, "went", "", "where it went or is kept")
	needFlags(cmd, "fluid", "out", "went")
	return cmd
}

func (a *app) wasteListCommand() *cobra.Command {
	var tag loops.Tag
	var since, until loops.Day
	cmd := &cobra.Command{
		Use: "list", Short: "List the used-fluid log, the newest first", Args: noArgs,
		Example: `  fillmark shelf waste list --since 2026-01-01 --until 2026-12-31`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, err := ask[items[workshop.UsedLine]](cmd.Context(), a, "GET", "/api/v1/used-fluid", nil)
			if err != nil {
				return err
			}
			all.Items = slices.DeleteFunc(all.Items, func(u workshop.UsedLine) bool {
				return tag != "" && u.Tag != tag || u.Day.Before(since) || !until.IsZero() && u.Day.After(until)
			})
			return a.print(all, func(p *printer) {
				var total chemistry.Litre
				struck := 0
				for _, u := range all.Items {
					if u.Struck {
						struck++
					} else {
						total += u.Volume
					}
				}
				words := fmt.Sprintf("%s, %s in all", plural(len(all.Items), "line"), total)
				if struck > 0 {
					words += fmt.Sprintf("; %d struck out and not counted", struck)
				}
				p.line("%s.", words)
				p.list([]string{"no.", "day", "loop", "fluid", "volume", "hazard", "went", "by"}, len(all.Items), func(i int) []string {
					u := all.Items[i]
					return []string{fmt.Sprint(u.ID), u.Day.String(), string(u.Tag), u.Fluid.Name(), usedVolume(u), u.Hazard, u.Went, u.By}
				})
			})
		},
	}
	f := cmd.Flags()
	need(f, &tag, loops.ParseTag, "tag", "TAG", "only what came out of the loop")
	need(f, &since, loops.ParseDay, "since", "DAY", "only lines of this day or later")
	need(f, &until, loops.ParseDay, "until", "DAY", "only lines of this day or earlier")
	return cmd
}

// usedVolume is the volume of a line, or that it does not count.
func usedVolume(u workshop.UsedLine) string {
	if u.Struck {
		return u.Volume.String() + ", struck out"
	}
	return u.Volume.String()
}
