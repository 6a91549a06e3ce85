// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// intakeCommand takes a machine in with the four things that the page asks.
func (a *app) intakeCommand() *cobra.Command {
	var arrival workshop.Arrival
	var tag loops.Tag
	said := acts.Said{}
	cmd := &cobra.Command{
		Use:   "intake --who TEXT --kind KIND --complaint TEXT",
		Short: "Take a machine in: who, what, what is wrong, photos",
		Long: `Intake puts owner, machine and loop on record with what is said at the counter.
All else is not known yet: the step that can see or measure it asks for it. For a
model that was here before it is assumed from the last unit. A machine with
one of our labels: --tag. A donor unit has no --who.`,
		Example: `  fillmark intake --who "Bea Moss, +351 910 000 111" --kind desktop --complaint "loud since May"
  fillmark intake --owner 3 --kind "laser chiller" --model "Heron T1" --complaint "drips" --photo front.jpg
  fillmark intake --tag 7K3QXW --complaint "too hot again"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case tag != "":
				arrival.Tag = tag
			case arrival.Kind == "":
				return &usageError{fmt.Errorf("--kind is missing: what kind of machine it is, or the --tag of one that was here before")}
			case arrival.Who == "" && arrival.Owner == 0 && arrival.Kind != loops.DonorUnit:
				return &usageError{fmt.Errorf("--who is missing: name, telephone and mail in one line, or --owner with the number of one on record")}
			}
			loop, err := a.arrive(cmd, arrival, said)
			if err != nil {
				return asFlags(err, intakeFlags())
			}
			return a.print(loop, func(p *printer) {
				p.line("Taken in. The tag is %s: write it on a label, or print one from its page.", loop.Tag)
				p.paragraph("  ", "  ", strings.Join(loop.Words(), "; ")+".")
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&arrival.Who, "who", "", "name, telephone and mail in one `line`")
	f.Uint64Var((*uint64)(&arrival.Owner), "owner", 0, "`number` of an owner on record, instead of --who")
	f.BoolVar(&arrival.New, "somebody-new", false, "not the owner of that name who is on record")
	pick(f, &arrival.Kind, loops.MachineKinds(), "kind", "KIND", "kind of machine: "+acts.Listed(loops.MachineKinds()))
	f.StringVar(&arrival.Model, "model", "", "maker and model, as on its plate")
	f.StringVar(&arrival.Complaint, "complaint", "", "what is wrong, in the owner's `words`")
	need(f, &tag, loops.ParseTag, "tag", "TAG", "tag of a loop that comes in again")
	photos, _ := acts.OfKind(loops.KindIntake)
	if d, ok := photos.Field("photo"); ok {
		fieldFlags(f, []acts.Field{d}, said)
	}
	return cmd
}

// intakeFlags are the flags by the names that errors give to what they hold.
func intakeFlags() []acts.Field {
	return []acts.Field{
		{Name: "who", Also: []string{"name", "email", "phone"}}, {Name: "kind", Also: []string{"what"}},
		{Name: "complaint"}, {Name: "model"}, {Name: "owner"}, {Name: "tag"}, {Name: "photo"},
	}
}

func (a *app) arrive(cmd *cobra.Command, arrival workshop.Arrival, said acts.Said) (loop loops.Loop, err error) {
	d, _ := acts.OfKind(loops.KindIntake)
	err = a.with(cmd.Context(), func(c *client) error {
		if err := keepPhotos(cmd.Context(), c, d, said); err != nil {
			return err
		}
		arrival.Photos = said["photo"]
		loop, err = call[loops.Loop](cmd.Context(), c, "POST", "/api/v1/intakes", arrival)
		return err
	})
	return loop, err
}
