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
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/photos"
)

func (a *app) openingCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "opening", Short: "Openings: what was found inside, and what it tells", Args: cobra.NoArgs}
	cmd.AddCommand(a.openingAddCommand(), a.openingListCommand(), a.openingShowCommand(), a.openingLivesCommand(),
		a.openingPatternCommand(), a.openingHowLongCommand(), a.openingWhenLookCommand(), a.openingEvidenceCommand(), a.openingWatchCommand(), a.openingSummaryCommand())
	return cmd
}

// openingInput is what the flags of opening add say.
type openingInput struct {
	opening       loops.Opening
	severity      *loops.Severity
	before, after []string
	white         bool
}

func (a *app) openingAddCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindOpening}
	var in openingInput
	cmd := &cobra.Command{
		Use:   "add TAG --cause CAUSE",
		Short: "Record what an opened loop showed",
		Long: `Record what an opened loop showed, in fixed words, so that openings can be
counted. For a donor unit record its charge first: loop fill TAG --origin factory
with --filled-from and --filled-to.

  --colour    ` + wrapped(loops.Colours()) + `
  --clarity   ` + wrapped(loops.Clarities()) + `
  --smell     ` + wrapped(loops.Smells()) + `
  --residue   KIND or KIND@PLACE, repeated. Kinds:
              ` + wrapped(loops.ResidueKinds()) + `
              places: ` + wrapped(loops.Places()) + `
  --severity  at the narrowest passage: ` + severityHelp(),
		Example: `  fillmark opening add 7K3QXA --cause clog --colour brown --clarity opaque --smell musty \
      --residue "brown slime@cold plate inlet" --severity narrowed \
      --photo fins.jpg --photo-after clean.jpg --white`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			in.opening.Severity = in.severity
			recorded, repeated, err := a.addOpening(cmd.Context(), tag, e, in)
			if err != nil {
				return err
			}
			return a.print(recorded, func(p *printer) { printOpened(p, recorded, repeated) })
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	o := &in.opening
	need(f, &o.Cause, choice("cause", loops.Causes()), "cause", "CAUSE", "clog, pump, leak, mount, \"radiator dust\", fan, \"none found\" or other")
	need(f, &o.FailedOn, loops.ParseDay, "failed-on", "DAY", "the day it failed in service, where known")
	need(f, &o.Colour, choice("colour", loops.Colours()), "colour", "WORD", "colour of the liquid")
	need(f, &o.Clarity, choice("clarity", loops.Clarities()), "clarity", "WORD", "clarity of the liquid")
	need(f, &o.Smell, choice("smell", loops.Smells()), "smell", "WORD", "smell of the liquid")
	f.Var(&listFlag[loops.Residue]{target: &o.Residues, parse: loops.ParseResidue, kind: "KIND@PLACE"}, "residue", "what sat inside, and where; repeat")
	may(f, &in.severity, loops.ParseSeverity, "severity", "STEP", "clean, film, deposits, narrowed or blocked")
	hoursFlag(f, &o.RunningHours)
	f.StringVar(&o.Words, "words", "", "what no fixed word fits")
	f.StringArrayVar(&in.before, "photo", nil, "`FILE` of a photo before the work; repeat")
	f.StringArrayVar(&in.after, "photo-after", nil, "`FILE` of a photo after it; repeat")
	f.BoolVar(&in.white, "white", false, "something white stands in view of the photos")
	needFlags(cmd, "cause")
	return cmd
}

// wrapped lists the values of a fixed vocabulary.
func wrapped[T ~string](values []T) string {
	var words []string
	for _, v := range values {
		words = append(words, string(v))
	}
	return strings.Join(words, ", ")
}

func severityHelp() string {
	var lines []string
	for _, s := range loops.Severities() {
		lines = append(lines, fmt.Sprintf("\n              %d %-9s %s", int(s), s, s.Means()))
	}
	return strings.Join(lines, "")
}

// addOpening uploads the photos and records the entry, and tells which photos
// had been kept before.
func (a *app) addOpening(ctx context.Context, tag loops.Tag, e loops.Entry, in openingInput) (recorded workshop.Recorded, repeated []string, err error) {
	err = a.with(ctx, func(c *client) error {
		names := map[string]string{} // of the photos, by what they show
		for _, group := range []struct {
			files []string
			when  loops.PhotoMoment
		}{{in.before, loops.BeforeWork}, {in.after, loops.AfterWork}} {
			for _, name := range group.files {
				kept, err := upload(ctx, c, name)
				if err != nil {
					return err
				}
				if first, twice := names[kept.Hash]; twice {
					return &loops.InvalidError{Field: "photo", Value: name, Reason: fmt.Sprintf("each photo once; this one is the same as %q", first)}
				}
				names[kept.Hash] = name
				if kept.Already {
					repeated = append(repeated, name)
				}
				in.opening.Photos = append(in.opening.Photos, loops.OpeningPhoto{Hash: kept.Hash, When: group.when, White: in.white})
			}
		}
		e.Opening = &in.opening
		recorded, err = call[workshop.Recorded](ctx, c, "POST", "/api/v1/loops/"+string(tag)+"/entries", e)
		return err
	})
	return recorded, repeated, err
}

// uploadAll uploads photos, in the order of their files.
func (a *app) uploadAll(ctx context.Context, files []string) (kept []workshop.KeptPhoto, err error) {
	if len(files) == 0 {
		return nil, nil
	}
	err = a.with(ctx, func(c *client) error {
		for _, name := range files {
			photo, err := upload(ctx, c, name)
			if err != nil {
				return err
			}
			kept = append(kept, photo)
		}
		return nil
	})
	return kept, err
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

func printOpened(p *printer, r workshop.Recorded, repeated []string) {
	o := r.Entry.Opening
	p.line("Opening of %s recorded: %s.", r.Loop.Tag, o.Cause)
	for _, name := range repeated {
		p.paragraph("", "", name+" was on record already; it is kept once.")
	}
	if !r.Loop.State.Failed.IsZero() {
		p.paragraph("", "", "This charge's life ended on "+r.Loop.State.Failed.Long()+"; nothing is planned for the loop until it is filled again.")
	}
	printSigns(p, o.Signs())
	for _, w := range r.Warnings {
		p.paragraph("", "", w)
	}
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
		Use: "list", Short: "List the openings, the newest first", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			found, err := ask[items[workshop.OpeningLine]](cmd.Context(), a, "GET", "/api/v1/openings", nil)
			if err != nil {
				return err
			}
			found.Items = slices.DeleteFunc(found.Items, func(l workshop.OpeningLine) bool {
				return cause != "" && l.Opening.Cause != cause || l.Day.Before(since)
			})
			return a.print(found, func(p *printer) {
				p.line("%s on record.", plural(len(found.Items), "opening"))
				p.list([]string{"day", "tag", "cause", "months", "seen"}, len(found.Items), func(i int) []string {
					l := found.Items[i]
					return []string{l.Day.String(), string(l.Tag), string(l.Opening.Cause), ageWords(l), l.Look}
				})
			})
		},
	}
	need(cmd.Flags(), &cause, choice("cause", loops.Causes()), "cause", "CAUSE", "only those with the cause")
	need(cmd.Flags(), &since, loops.ParseDay, "since", "DAY", "only those of this day or later")
	return cmd
}

// ageWords writes the age at an opening in months.
func ageWords(l workshop.OpeningLine) string {
	return workshop.SummaryCase{MonthsFrom: l.MonthsFrom, MonthsTo: l.MonthsTo}.Age()
}

func (a *app) openingShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show TAG", Short: "Show what the openings of a loop found", Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			found, err := ask[items[workshop.OpeningFile]](cmd.Context(), a, "GET", "/api/v1/openings/of/"+string(tag), nil)
			if err != nil {
				return err
			}
			return a.print(found, func(p *printer) {
				for _, f := range found.Items {
					printOpening(p, f)
				}
			})
		},
	}
}

func printOpening(p *printer, f workshop.OpeningFile) {
	p.line("%s opened on %s, entry %d by %s: %s.", f.Tag, f.Day.Long(), f.Entry, f.By, f.Opening.Cause)
	p.paragraph("  ", "    ", fmt.Sprintf("Seen: %s. Age %s months since the %s fill, %s.", cmp.Or(f.Look, "nothing noted"), ageWords(f.OpeningLine), f.Origin, chargeWords(&f.Charge)))
	if f.Opening.Words != "" {
		p.paragraph("  ", "    ", f.Opening.Words)
	}
	for _, photo := range f.Opening.Photos {
		p.line("  photo %s the work: %s", photo.When, photo.Hash)
	}
	printSigns(p, f.Signs)
}
