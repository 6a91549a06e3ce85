// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/loops"
)

func (a *app) ownerCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "owner", Short: "Owners: who a machine goes back to", Args: cobra.NoArgs}
	cmd.AddCommand(a.ownerAddCommand(), a.ownerListCommand())
	return cmd
}

func (a *app) ownerAddCommand() *cobra.Command {
	var o loops.Owner
	cmd := &cobra.Command{
		Use:     "add --name NAME [--email ADDRESS --mail-consent]",
		Short:   "Record an owner",
		Example: `  fillmark owner add --name "Ana Ruiz" --email ana@garden.example --mail-consent --zone Europe/Lisbon`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			owner, err := ask[loops.Owner](cmd.Context(), a, "POST", "/api/v1/owners", o)
			if err != nil {
				return err
			}
			return a.print(owner, func(p *printer) {
				p.line("Owner %d recorded: %s.", owner.ID, owner.Name)
				if !owner.MayMail() {
					p.line("No reminders will be mailed: %s.", whyNoMail(owner))
				}
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Name, "name", "", "how the owner is addressed")
	f.StringVar(&o.Email, "email", "", "one mail address; none: letters or calls")
	f.StringVar(&o.Phone, "phone", "", "telephone")
	f.StringVar(&o.Zone, "zone", "", "IANA zone such as Europe/Lisbon; none: the workshop's")
	f.StringVar(&o.Address, "address", "", "where letters go")
	need(f, &o.Units, choice("units", []loops.Units{loops.Metric, loops.USCustomary}), "units", "UNITS", "metric or \"us customary\"")
	f.BoolVar(&o.Consent.Mail, "mail-consent", false, "the owner agreed to reminders by mail")
	f.BoolVar(&o.Consent.Opening, "opening-consent", false, "the owner agreed to the loop being opened")
	f.BoolVar(&o.Consent.Photos, "photo-consent", false, "the owner agreed to photos being shown")
	needFlags(cmd, "name")
	return cmd
}

func whyNoMail(o loops.Owner) string {
	switch {
	case o.Email == "":
		return "no address"
	case !o.MailStopped.IsZero():
		return "the owner stopped the mail on " + o.MailStopped.Long()
	default:
		return "no consent on record (--mail-consent)"
	}
}

func (a *app) ownerListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the owners", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			owners, err := ask[items[loops.Owner]](cmd.Context(), a, "GET", "/api/v1/owners", nil)
			if err != nil {
				return err
			}
			return a.print(owners, func(p *printer) {
				p.line("%s.", plural(len(owners.Items), "owner"))
				p.table([]string{"no.", "name", "mail", "zone"}, len(owners.Items), func(i int) []string {
					o := owners.Items[i]
					return []string{fmt.Sprint(o.ID), o.Name, o.Email, o.Zone}
				})
			})
		},
	}
}
