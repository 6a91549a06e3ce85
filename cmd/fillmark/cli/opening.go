// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/photos"
)

func (a *app) openingCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "opening", Short: "Openings: what was found inside, and what it tells", Args: cobra.NoArgs}
	cmd.AddCommand(a.openingListCommand(), a.openingPatternCommand(), a.openingWatchCommand(), a.openingHowLongCommand(),
		a.openingLivesCommand(), a.openingWhenLookCommand(), a.openingEvidenceCommand(), a.openingSummaryCommand())
	return cmd
}

// upload sends a photo, which the register keeps at once.
func upload(ctx context.Context, c *client, name string) (workshop.KeptPhoto, error) {
	info, err := os.Stat(name)
	if err != nil {
		return workshop.KeptPhoto{}, err
	}
	if info.Size() > photos.MaxBytes || info.IsDir() {
		return workshop.KeptPhoto{}, &loops.InvalidError{Field: "photo", Value: name, Reason: fmt.Sprintf("a photo of at most %d MB", photos.MaxBytes>>20)}
	}
	file, err := os.ReadFile(name)
	if err != nil {
		return workshop.KeptPhoto{}, err
	}
	path := "/api/v1/photos?name=" + url.QueryEscape(filepath.Base(name))
	return decoded[workshop.KeptPhoto](c.send(ctx, "POST", path, content{"application/octet-stream", bytes.NewReader(file)}))
}

// printSigns offers readings of what was seen, with their grades.
func printSigns(p *printer, signs []loops.Sign) {
	if len(signs) == 0 {
		return
	}
	p.line("Such looks often mean (hints, no findings)")
	for _, s := range signs {
		p.paragraph("  "+s.Sign+": ", "    ", fmt.Sprintf("%s. Ask: %s? (%s; %s)", s.Reading, s.Ask, s.Source, s.Grade))
	}
}

func (a *app) openingListCommand() *cobra.Command {
	var cause loops.Cause
	var since loops.Day
	cmd := &cobra.Command{
		Use: "list [TAG]", Short: "List the openings, the newest first, or show what those of a loop found",
		Example: `  fillmark opening list --cause clog --since 2026-01-01
  fillmark opening list 7K3QXW`,
		Args: atMostOne("the tag on the loop's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			drop := func(l evidence.OpeningLine) bool {
				return cause != "" && l.Opening.Cause != cause || l.Day.Before(since)
			}
			if len(args) == 1 {
				return a.openingsOf(cmd.Context(), args[0], drop)
			}
			found, err := ask[items[evidence.OpeningLine]](cmd.Context(), a, "GET", "/api/v1/openings", nil)
			if err != nil {
				return err
			}
			all := len(found.Items)
			found.Items = slices.DeleteFunc(found.Items, drop)
			return a.print(found, func(p *printer) {
				if shown := len(found.Items); shown < all {
					p.line("%d of %s on record.", shown, plural(all, "opening"))
				} else {
					p.line("%s on record.", plural(all, "opening"))
				}
				p.list([]string{"day", "tag", "cause", "months", "seen"}, len(found.Items), func(i int) []string {
					l := found.Items[i]
					return []string{l.Day.String(), string(l.Tag), string(l.Opening.Cause), l.Months(), l.Look}
				})
			})
		},
	}
	pick(cmd.Flags(), &cause, loops.Causes(), "cause", "CAUSE", "only those with the cause")
	need(cmd.Flags(), &since, loops.ParseDay, "since", "DAY", "only those of this day or later")
	return cmd
}

// openingsOf prints all that the openings of a loop found, the oldest first.
func (a *app) openingsOf(ctx context.Context, word string, drop func(evidence.OpeningLine) bool) error {
	tag, err := loops.ParseTag(word)
	if err != nil {
		return err
	}
	found, err := ask[items[evidence.OpeningFile]](ctx, a, "GET", "/api/v1/openings/of/"+string(tag), nil)
	if err != nil {
		return err
	}
	found.Items = slices.DeleteFunc(found.Items, func(f evidence.OpeningFile) bool { return drop(f.OpeningLine) })
	return a.print(found, func(p *printer) {
		for _, f := range found.Items {
			printOpening(p, f)
		}
	})
}

func printOpening(p *printer, f evidence.OpeningFile) {
	p.line("%s opened on %s, entry %d by %s: %s.", f.Tag, f.Day.Long(), f.Entry, f.By, f.Opening.Cause)
	p.paragraph("  ", "    ", fmt.Sprintf("Seen: %s. %s, %s.", cmp.Or(f.Look, "nothing noted"), loops.Capital(f.Age()), chargeWords(&f.Charge)))
	if f.Opening.Words != "" {
		p.paragraph("  ", "    ", f.Opening.Words)
	}
	for _, photo := range f.Opening.Photos {
		p.line("  photo %s the work: %s", photo.When, photo.Hash)
	}
	printSigns(p, f.Signs)
}
