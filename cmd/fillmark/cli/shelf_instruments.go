// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) shelfInstrumentCommand() *cobra.Command {
	var i loops.Instrument
	cmd := &cobra.Command{
		Use: "instrument --kind KIND --name TEXT", Short: "Record an instrument", Args: noArgs,
		Example: `  fillmark shelf instrument --kind refractometer --name "hand refractometer" --serial R-9`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/instruments", i, func(p *printer, made loops.Instrument) {
				p.line("Instrument %d recorded: %s.", made.ID, made.Name)
			})
		},
	}
	f := cmd.Flags()
	pick(f, &i.Kind, loops.InstrumentKinds(), "kind", "KIND", "refractometer, hydrometer, \"pH meter\", \"conductivity meter\", thermometer or scale")
	f.StringVar(&i.Name, "name", "", "how the workshop calls it")
	f.StringVar(&i.Serial, "serial", "", "serial number")
	needFlags(cmd, "kind", "name")
	return cmd
}

func (a *app) shelfCheckCommand() *cobra.Command {
	var c loops.InstrumentCheck
	cmd := &cobra.Command{
		Use: "check NUMBER --against TEXT --expected NUMBER --read NUMBER", Short: "Record the zero or buffer check of an instrument",
		Example: `  fillmark shelf check 1 --against "distilled water at 20C" --expected 0 --read 0.2 --unit brix --adjusted`,
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

// shelfDiscardCommand says that something is on the shelf no longer.
func (a *app) shelfDiscardCommand() *cobra.Command {
	var on web.OnDay
	cmd := &cobra.Command{
		Use: "discard (instrument | sample) NUMBER", Short: "Record that an instrument was taken out of use, or that a sample was poured away",
		Example: `  fillmark shelf discard instrument 1
  fillmark shelf discard sample 3 --day 2026-11-27`,
		ValidArgs: []string{"instrument", "sample"},
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 || !slices.Contains(cmd.ValidArgs, args[0]) {
				return fmt.Errorf("%q: instrument or sample and its number are right, such as sample 3", strings.Join(args, " "))
			}
			return oneNumber[loops.SampleID](args[0])(cmd, args[1:])
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if args[0] == "instrument" {
				return tell(cmd.Context(), a, "POST", "/api/v1/instruments/"+args[1]+"/retire", on, func(p *printer, i loops.Instrument) {
					p.line("Instrument %d was taken out of use on %s.", i.ID, i.Retired.Long())
				})
			}
			return tell(cmd.Context(), a, "POST", "/api/v1/samples/"+args[1]+"/discard", on, func(p *printer, s loops.RetainedSample) {
				p.line("Sample %d was discarded on %s.", s.ID, s.Discarded.Long())
			})
		},
	}
	need(cmd.Flags(), &on.Day, loops.ParseDay, "day", "DAY", "the day (default today)")
	return cmd
}

func (a *app) shelfSampleCommand() *cobra.Command {
	var kept web.KeptSample
	cmd := &cobra.Command{
		Use: "sample TAG --place TEXT", Short: "Record a sample that is kept from a loop", Args: oneTag,
		Example: `  fillmark shelf sample 7K3QXW --place "rack B2" --keep 2028-12-03`,
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
	f.StringVar(&kept.Note, "note", "", "what can be seen in it")
	needFlags(cmd, "place")
	return cmd
}

func (a *app) shelfWasteCommand() *cobra.Command {
	var w web.Waste
	var tag loops.Tag
	cmd := &cobra.Command{
		Use: "waste --fluid FLUID --out VOLUME --went TEXT", Short: "Record used fluid and where it went", Args: noArgs,
		Example: `  fillmark shelf waste --fluid pg --out 3.2l --hazard "glycol with biocide" --went "contractor, note 4471"`,
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
