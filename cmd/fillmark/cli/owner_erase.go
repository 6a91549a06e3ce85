// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) ownerEraseCommand() *cobra.Command {
	var erasure web.Erasure
	cmd := &cobra.Command{
		Use:   "erase NUMBER --name NAME [--prove]",
		Short: "Erase who an owner is; measurements stay",
		Long: `Erase takes out of the register who the owner was: name, addresses, what the
machines were called, the owner's words, notes, the mail, and the name wherever
else somebody wrote it. Measurements and what was done stay, without a person
behind them. It cannot be undone. Older backups still hold everything.

With --prove everything personal that the register ever held of the owner is
looked for afterwards, in all that Fillmark keeps. What comes out is a
certificate without a word of the owner's: nothing left, or where, and how it
goes. It lists the backups that still hold the owner.`,
		Example: `  fillmark owner erase 3 --name "Ana Ruizado"
  fillmark owner erase 3 --name "Ana Ruizado" --prove`,
		Args: oneNumber[loops.OwnerID]("owner"),
		RunE: func(cmd *cobra.Command, args []string) error {
			erased, err := tend[web.Erased](cmd.Context(), a, "erasing and compacting", "POST", "/api/v1/owners/"+args[0]+"/erase", erasure)
			if err != nil {
				return err
			}
			return a.print(erased, func(p *printer) {
				p.line("Owner %d is erased, and the register compacted.", erased.ID)
				if erased.Proof == nil {
					p.line("Older backups still hold the owner.")
					return
				}
				printErasure(p, *erased.Proof)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&erasure.Name, "name", "", "the owner's name as it is on record, so that a mistyped number erases nobody")
	f.BoolVar(&erasure.Prove, "prove", false, "look afterwards for all that was personal, and print a certificate")
	needFlags(cmd, "name")
	return cmd
}

func printErasure(p *printer, proof web.ErasureProof) {
	p.line("")
	p.line("Certificate of erasure: owner %d, %s", proof.Number, proof.At.UTC().Format(time.RFC3339))
	total := 0
	for _, n := range proof.Texts {
		total += n
	}
	if proof.Clear {
		p.line("Nothing is left: %s looked for, 0 found.", plural(total, "text"))
	} else {
		p.line("%s left: %s looked for.", plural(len(proof.Left), "place"), plural(total, "text"))
	}
	for _, l := range proof.Left {
		p.paragraph("▐ ", "  ", fmt.Sprintf("%s: %s. The way: %s.", l.Place, l.Field, l.How))
	}
	p.line("Looked at:")
	p.list([]string{"place", "how much"}, len(proof.Searched), func(i int) []string {
		s := proof.Searched[i]
		return []string{s.Place, plural(int(s.Count), s.Of)}
	})
	p.line("Looked for:")
	fields := slices.Sorted(maps.Keys(proof.Texts))
	p.list([]string{"field", "texts"}, len(fields), func(i int) []string {
		return []string{fields[i], fmt.Sprint(proof.Texts[fields[i]])}
	})
	if proof.Short > 0 {
		p.paragraph("", "  ", plural(proof.Short, "text")+" too short to be told from other words: erased, not looked for.")
	}
	if proof.Shared > 0 {
		p.paragraph("", "  ", plural(proof.Shared, "text")+" that another owner's or machine's record, or a technician's name, holds too: erased, not looked for.")
	}
	printErasableBackups(p, proof.Backups)
	p.line("Fillmark cannot look at:")
	for _, e := range proof.Elsewhere {
		p.paragraph("  ", "  ", e)
	}
}

// printErasableBackups lists the backups that hold the owner still.
func printErasableBackups(p *printer, backups []web.ErasableBackup) {
	if len(backups) == 0 {
		p.line("No backup from before is known.")
		return
	}
	p.line("Older backups still hold the owner; destroy them, or leave them until their day:")
	p.list([]string{"folder", "made", "there", "gone by"}, len(backups), func(i int) []string {
		b := backups[i]
		gone := "nobody said: set backup.kept_days"
		if !b.Gone.IsZero() {
			gone = b.Gone.Long()
		}
		return []string{b.Folder, b.Made.Long(), yesNo(b.There), gone}
	})
	p.paragraph("", "  ", "Who restores one of them erases the owner again.")
}
