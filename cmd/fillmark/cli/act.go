// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// actCommand makes the command that does an act to a loop from the act's
// definition.
func (a *app) actCommand(d acts.Definition) *cobra.Command {
	said := acts.Said{}
	var check bool
	cmd := &cobra.Command{
		Use: d.Name + " TAG" + neededFlags(d.Fields), Short: d.Short, Long: longHelp(d), Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := d.Read(said); err != nil {
				return asFlags(err, d.Fields)
			}
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			recorded, err := a.act(cmd.Context(), tag, d, said, check)
			if stop := (*acts.StopError)(nil); errors.As(err, &stop) {
				return a.stopped(stop)
			}
			if err != nil {
				return asFlags(err, d.Fields)
			}
			return a.print(recorded, func(p *printer) { printActed(p, d, recorded, check) })
		},
	}
	for _, example := range d.Examples {
		cmd.Example += "  fillmark loop " + d.Name + " " + example + "\n"
	}
	cmd.Example = strings.TrimRight(cmd.Example, "\n")
	fieldFlags(cmd.Flags(), d.Fields, said)
	cmd.Flags().BoolVar(&check, "check", false, "judge it and record nothing")
	return cmd
}

// longHelp says first what the act is, then what else to know.
func longHelp(d acts.Definition) string {
	if d.Long == "" {
		return ""
	}
	return d.Short + ".\n\n" + d.Long
}

// neededFlags are the flags that cannot be left out, for a usage line.
func neededFlags(fields []acts.Field) string {
	var line strings.Builder
	for _, f := range fields {
		if f.Needed {
			fmt.Fprintf(&line, " --%s %s", f.Name, f.Word)
		}
	}
	return line.String()
}

// act sends the act: checked here for what can be told without the register,
// then judged and recorded there.
func (a *app) act(ctx context.Context, tag loops.Tag, d acts.Definition, said acts.Said, check bool) (recorded workshop.Recorded, err error) {
	act, err := d.Read(said)
	if err != nil {
		return recorded, err
	}
	err = a.with(ctx, func(c *client) error {
		said := d.Say(act)
		if err := keepPhotos(ctx, c, d, said); err != nil {
			return err
		}
		body, err := acts.WriteJSON(d.Fields, said)
		if err != nil {
			return err
		}
		path := "/api/v1/loops/" + string(tag) + "/acts/" + d.Name
		if check {
			path += "?check=true"
		}
		recorded, err = call[workshop.Recorded](ctx, c, "POST", path, body)
		return err
	})
	return recorded, err
}

// keepPhotos uploads the photos that an act names by their files and puts what
// they are kept under in their place.
func keepPhotos(ctx context.Context, c *client, d acts.Definition, said acts.Said) error {
	for _, f := range d.Fields {
		if f.Word != "PHOTO" {
			continue
		}
		names := map[string]string{}
		for i, text := range said[f.Name] {
			file, behind := text, ""
			if at := strings.LastIndexByte(text, '@'); at > 0 {
				file, behind = text[:at], text[at:]
			}
			if _, err := os.Stat(file); err != nil {
				return &loops.InvalidError{Field: f.Name, Value: file, Reason: "a file with a photo"}
			}
			kept, err := upload(ctx, c, file)
			if err != nil {
				return err
			}
			if first, twice := names[kept.Hash]; twice {
				return &loops.InvalidError{Field: f.Name, Value: file, Reason: fmt.Sprintf("each photo once; this one is the same as %q", first)}
			}
			names[kept.Hash] = file
			said[f.Name][i] = kept.Hash + behind
		}
	}
	return nil
}

// asFlags names the fields of a refusal as they are typed.
func asFlags(err error, fields []acts.Field) error {
	return loops.MapFaults(err, func(err error) error {
		var invalid *loops.InvalidError
		if errors.As(err, &invalid) {
			for _, f := range fields {
				if f.Is(invalid.Field) {
					return chemistry.InField(invalid, "--"+f.Name)
				}
			}
		}
		return err
	})
}

// stopped prints a refusal, which is an answer: what speaks against the act and
// how to go on.
func (a *app) stopped(stop *acts.StopError) error {
	answer := struct {
		Verdict chemistry.Verdict  `json:"verdict"`
		Reasons []chemistry.Reason `json:"reasons"`
		Ways    []string           `json:"ways"`
	}{chemistry.Stop, stop.Reasons, stop.Ways}
	err := a.print(answer, func(p *printer) {
		p.verdict(chemistry.Stop)
		p.line("Nothing is recorded.")
		printActReasons(p, stop.Reasons)
		for _, way := range stop.Ways {
			p.paragraph("→ ", "  ", way)
		}
	})
	return errors.Join(err, errStop)
}

// printActReasons prints what speaks against an act, and for it where it is a note.
func printActReasons(p *printer, reasons []chemistry.Reason) {
	for _, r := range reasons {
		line := fmt.Sprintf("%s (%s): %s", strings.ToUpper(string(r.Verdict)), r.Rule, r.Text)
		if r.Source != "" { // what was recorded before keeps no source
			line += " [" + r.Source + "]"
		}
		p.paragraph("  ", "    ", line)
	}
}

// printActed prints what an act wrote and how the loop then stands.
func printActed(p *printer, d acts.Definition, r workshop.Recorded, check bool) {
	words := acts.Words(r.Entry)
	switch {
	case check:
		p.line("Judged only; nothing is recorded.")
	case r.Repeated:
		p.line("This was recorded before, as entry %d of %s.", r.Entry.ID, r.Loop.Tag)
	}
	p.paragraph("", "  ", string(r.Loop.Tag)+": "+words)
	if r.Verdict.Worse(chemistry.Go) {
		p.verdict(r.Verdict)
	}
	printActReasons(p, r.Reasons)
	for _, reason := range r.Reasons {
		if reason.Way != "" && reason.Verdict.Worse(chemistry.Go) {
			p.paragraph("→ ", "  ", reason.Way)
		}
	}
	for _, warning := range r.Warnings {
		p.paragraph("! ", "  ", warning)
	}
	state := r.Loop.State
	if slices.Contains([]loops.EntryKind{loops.KindFill, loops.KindTopUp, loops.KindInspection, loops.KindDose}, d.Kind) && state.Charge != nil {
		p.line("In the loop: %s.", chargeWords(state.Charge))
		printProtection(p, r.Loop.Protection(), r.Loop.State.Charge)
		if d.Kind != loops.KindInspection {
			printCautions(p, chemistry.Cautions(state.Charge.Contents()))
		}
	}
	if d.Kind == loops.KindHandover || d.Kind == loops.KindSetting || d.Kind == loops.KindInspection {
		printPlan(p, r.Loop.Plan)
	}
	switch {
	case r.Mailed != "":
		p.paragraph("", "", "Queued for the owner: "+r.Mailed)
	case d.Kind == loops.KindHandover && !check && !r.Repeated:
		p.line("No mail: the owner has no address, gave no consent, stopped the mail, or had it back too long ago; fillmark owner show says which.")
	}
}
