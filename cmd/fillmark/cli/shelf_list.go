// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// shelfAsked is by what a list of the shelf is narrowed and put in order.
type shelfAsked struct {
	sort, lot             string
	tag                   loops.Tag
	expires, since, until loops.Day
	here                  bool
}

// shelfKind is a kind of things on the shelf: the flags that narrow its list,
// the orders it knows beside that by number, and how it is printed.
type shelfKind struct {
	name   string
	flags  []string
	orders []string
	list   func(context.Context, *shelfAsked) error
}

func (a *app) shelfKinds() []shelfKind {
	return []shelfKind{
		{"containers", []string{"expires", "lot", "sort"}, []string{"product", "expires"}, a.listContainers},
		{"instruments", []string{"here"}, nil, a.listInstruments},
		{"samples", []string{"here", "tag", "sort"}, []string{"keep"}, a.listSamples},
		{"waste", []string{"since", "tag", "until"}, nil, a.listWaste},
	}
}

func (a *app) shelfListCommand() *cobra.Command {
	var asked shelfAsked
	kinds := a.shelfKinds()
	var names []string
	for _, k := range kinds {
		names = append(names, k.name)
	}
	cmd := &cobra.Command{
		Use:   "list [" + strings.Join(names, " | ") + "]",
		Short: "List the containers, the instruments, the samples kept, or the used-fluid log",
		Example: `  fillmark shelf list --expires 2027-01-31 --sort expires
  fillmark shelf list instruments
  fillmark shelf list samples --here --sort keep
  fillmark shelf list waste --since 2026-01-01 --until 2026-12-31`,
		ValidArgs: names,
		Args:      atMostOne("which list"),
		RunE: func(cmd *cobra.Command, args []string) error {
			wanted := cmp.Or(strings.Join(args, ""), names[0])
			n := slices.Index(names, wanted)
			if n < 0 {
				return &usageError{fmt.Errorf("%q is no list of the shelf; one of them is right: %s", wanted, strings.Join(names, ", "))}
			}
			if err := kinds[n].takes(cmd.LocalNonPersistentFlags(), asked.sort); err != nil {
				return err
			}
			return kinds[n].list(cmd.Context(), &asked)
		},
	}
	f := cmd.Flags()
	f.StringVar(&asked.sort, "sort", "", "`order`: number (default), product, expires or keep, the day until which a sample is kept")
	f.StringVar(&asked.lot, "lot", "", "only containers of the `lot`")
	need(f, &asked.expires, loops.ParseDay, "expires", "DAY", "only containers to be used by this day")
	f.BoolVar(&asked.here, "here", false, "only instruments and samples that were not discarded")
	need(f, &asked.tag, loops.ParseTag, "tag", "TAG", "only samples and used fluid of the loop with the tag")
	need(f, &asked.since, loops.ParseDay, "since", "DAY", "only used fluid of this day or later")
	need(f, &asked.until, loops.ParseDay, "until", "DAY", "only used fluid of this day or earlier")
	return cmd
}

// takes refuses flags that say nothing of this kind, and an order it has not.
func (k shelfKind) takes(flags *pflag.FlagSet, sort string) error {
	var wrong error
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Changed && !slices.Contains(k.flags, f.Name) && wrong == nil {
			wrong = &usageError{fmt.Errorf("--%s does not go with the list of %s; it takes --%s", f.Name, k.name, strings.Join(k.flags, ", --"))}
		}
	})
	orders := append([]string{"number"}, k.orders...)
	if wrong == nil && sort != "" && !slices.Contains(orders, sort) {
		wrong = &loops.InvalidError{Field: "sort", Value: sort, Reason: "one of: " + strings.Join(orders, ", ")}
	}
	return wrong
}

func (a *app) listContainers(ctx context.Context, asked *shelfAsked) error {
	all, err := ask[items[loops.Container]](ctx, a, "GET", "/api/v1/containers", nil)
	if err != nil {
		return err
	}
	all.Items = slices.DeleteFunc(all.Items, func(c loops.Container) bool {
		late := !asked.expires.IsZero() && (c.Expires.IsZero() || c.Expires.After(asked.expires))
		return late || asked.lot != "" && !strings.EqualFold(c.Lot, asked.lot)
	})
	slices.SortStableFunc(all.Items, func(x, y loops.Container) int {
		switch asked.sort {
		case "product":
			return strings.Compare(strings.ToLower(x.Product), strings.ToLower(y.Product))
		case "expires":
			return compareExpiry(x.Expires, y.Expires)
		}
		return 0
	})
	return a.print(all, func(p *printer) {
		p.line("%s.", plural(len(all.Items), "container"))
		p.list([]string{"no.", "kind", "product", "lot", "holds", "left", "use by"}, len(all.Items), func(i int) []string {
			c := all.Items[i]
			return []string{fmt.Sprint(c.ID), string(c.Kind), c.Product, c.Lot, containerWords(c), c.Left.String(), c.Expires.String()}
		})
	})
}

// compareExpiry puts what never expires last.
func compareExpiry(a, b loops.Day) int {
	if a.IsZero() != b.IsZero() {
		return b.Compare(a)
	}
	return a.Compare(b)
}

func (a *app) listInstruments(ctx context.Context, asked *shelfAsked) error {
	all, err := ask[items[loops.Instrument]](ctx, a, "GET", "/api/v1/instruments", nil)
	if err != nil {
		return err
	}
	all.Items = slices.DeleteFunc(all.Items, func(i loops.Instrument) bool { return asked.here && !i.Retired.IsZero() })
	return a.print(all, func(p *printer) {
		p.line("%s.", plural(len(all.Items), "instrument"))
		p.list([]string{"no.", "kind", "name", "serial", "last check", "retired"}, len(all.Items), func(n int) []string {
			i := all.Items[n]
			return []string{fmt.Sprint(i.ID), string(i.Kind), i.Name, i.Serial, lastCheck(i), i.Retired.String()}
		})
	})
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

func (a *app) listSamples(ctx context.Context, asked *shelfAsked) error {
	all, err := ask[items[web.KeptSample]](ctx, a, "GET", "/api/v1/samples", nil)
	if err != nil {
		return err
	}
	all.Items = slices.DeleteFunc(all.Items, func(s web.KeptSample) bool {
		return asked.here && !s.Discarded.IsZero() || asked.tag != "" && s.Tag != string(asked.tag)
	})
	if asked.sort == "keep" {
		slices.SortStableFunc(all.Items, func(a, b web.KeptSample) int { return a.Keep.Compare(b.Keep) })
	}
	return a.print(all, func(p *printer) {
		p.line("%s.", plural(len(all.Items), "sample"))
		p.list([]string{"no.", "loop", "taken", "place", "keep until", "discarded"}, len(all.Items), func(i int) []string {
			s := all.Items[i]
			return []string{fmt.Sprint(s.ID), s.Tag, s.Taken.String(), s.Place, s.Keep.String(), s.Discarded.String()}
		})
	})
}

// listWaste lists the used-fluid log, the newest first.
func (a *app) listWaste(ctx context.Context, asked *shelfAsked) error {
	all, err := ask[items[workshop.UsedLine]](ctx, a, "GET", "/api/v1/used-fluid", nil)
	if err != nil {
		return err
	}
	all.Items = slices.DeleteFunc(all.Items, func(u workshop.UsedLine) bool {
		return asked.tag != "" && u.Tag != asked.tag || u.Day.Before(asked.since) || !asked.until.IsZero() && u.Day.After(asked.until)
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
}

// usedVolume is the volume of a line, or that it does not count.
func usedVolume(u workshop.UsedLine) string {
	if u.Struck {
		return u.Volume.String() + ", struck out"
	}
	return u.Volume.String()
}
