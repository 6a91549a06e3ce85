// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) ownerCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "owner", Short: "Owners: who a machine goes back to", Args: cobra.NoArgs}
	cmd.AddCommand(a.ownerAddCommand(), a.ownerListCommand(), a.ownerShowCommand(), a.ownerEditCommand(),
		a.ownerEndLinksCommand(), a.ownerEraseCommand())
	return cmd
}

func (a *app) ownerAddCommand() *cobra.Command {
	return addCommand(a, acts.Said{}, adding[loops.Owner, loops.Owner]{
		record: acts.Owners(), path: "/api/v1/owners", short: "Record an owner",
		example: `  fillmark owner add --name "Ana Ruizado" --email ana@garden.example --mail-consent --zone Europe/Lisbon`,
		print: func(p *printer, o loops.Owner) {
			p.line("Owner %d recorded: %s.", o.ID, o.Name)
			printMayMail(p, o)
		},
	})
}

func printMayMail(p *printer, o loops.Owner) {
	if !o.MayMail() {
		p.line("No reminders will be mailed: %s.", whyNoMail(o))
	}
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
	var sort, text, mail string
	cmd := &cobra.Command{
		Use: "list", Short: "List the owners", Args: noArgs,
		Example: `  fillmark owner list --sort name --mail false`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "GET", query("/api/v1/owners", "sort", sort, "text", text, "mail", mail), nil, func(p *printer, owners items[loops.Owner]) {
				p.line("%s.", plural(len(owners.Items), "owner"))
				p.list([]string{"no.", "name", "mail", "telephone", "zone"}, len(owners.Items), func(i int) []string {
					o := owners.Items[i]
					return []string{fmt.Sprint(o.ID), o.Name, o.Email, o.Phone, o.Zone}
				})
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&sort, "sort", "", "`order`: number (default) or name")
	f.StringVar(&text, "text", "", "only those with the `text` in name, mail or telephone")
	f.StringVar(&mail, "mail", "", "only those who may be mailed (true) or may not (false)")
	return cmd
}

func (a *app) ownerShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show NUMBER", Short: "Show an owner with machines and loops",
		Example: `  fillmark owner show 3`,
		Args:    oneNumber[loops.OwnerID]("owner"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "GET", "/api/v1/owners/"+args[0], nil, printOwner)
		},
	}
}

func printOwner(p *printer, file workshop.OwnerFile) {
	o := file.Owner
	p.line("Owner %d: %s (revision %d)", o.ID, o.Name, o.Revision)
	for _, f := range [][2]string{{"mail", o.Email}, {"telephone", o.Phone}, {"address", o.Address}, {"zone", o.Zone}, {"units", string(o.Units)}, {"language", string(o.Language)}} {
		if f[1] != "" {
			p.paragraph("  "+f[0]+": ", "    ", f[1])
		}
	}
	p.line("  agreed to: mail %s, opening %s, photos %s", yesNo(o.Consent.Mail), yesNo(o.Consent.Opening), yesNo(o.Consent.Photos))
	printMayMail(p, o)
	for _, m := range file.Machines {
		p.line("▐ Machine %d: %s, %s", m.Machine.ID, m.Machine.Name, m.Machine.Kind)
		printLoopLines(p, m.Loops)
	}
}

func yesNo(v bool) string {
	if v {
		return "yes"
	}
	return "no"
}

func (a *app) ownerEditCommand() *cobra.Command {
	return editCommand(a, editing[loops.Owner, workshop.OwnerFile, loops.Owner]{
		record: acts.Owners(), use: "NUMBER", short: "Change an owner", args: oneNumber[loops.OwnerID]("owner"), path: below("/api/v1/owners/"),
		example: `  fillmark owner edit 3 --phone "+351 210 555 0190" --revision 2
  fillmark owner edit 3 --email none`,
		in: func(file *workshop.OwnerFile) (*loops.Owner, *uint64) { return &file.Owner, &file.Owner.Revision },
		print: func(p *printer, o loops.Owner) {
			p.line("Owner %d changed: %s, now revision %d.", o.ID, o.Name, o.Revision)
			printMayMail(p, o)
		},
	})
}

func (a *app) ownerEndLinksCommand() *cobra.Command {
	return &cobra.Command{
		Use: "end-links NUMBER", Short: "Close every link that an owner was sent", Args: oneNumber[loops.OwnerID]("owner"),
		Long: `Use end-links when an owner's links are in other hands, by a forwarded mail for
example: the owner's pages, the stop link and the calendar no longer open. The next
mail to the owner brings new ones. A transfer and an erasure end them too.`,
		Example: `  fillmark owner end-links 3`,
		RunE: func(cmd *cobra.Command, args []string) error {
			owner, err := ask[loops.Owner](cmd.Context(), a, "POST", "/api/v1/owners/"+args[0]+"/end-links", nil)
			if err != nil {
				return err
			}
			return a.print(owner, func(p *printer) {
				p.line("The links of owner %d, %s, no longer open anything.", owner.ID, owner.Name)
				p.line("The next mail brings new ones; tell them, and that a calendar they subscribed to stops.")
			})
		},
	}
}
