// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) shelfCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "shelf", Short: "Shelf: containers, instruments, samples and used fluid", Args: cobra.NoArgs}
	cmd.AddCommand(a.shelfListCommand(), a.shelfAddCommand(), a.shelfShowCommand(), a.shelfEditCommand(), a.shelfUseCommand(), a.shelfRecallCommand(),
		a.shelfInstrumentCommand(), a.shelfCheckCommand(), a.shelfSampleCommand(), a.shelfWasteCommand(), a.shelfDiscardCommand())
	return cmd
}

func (a *app) shelfAddCommand() *cobra.Command {
	return addCommand(a, acts.Said{}, adding[loops.Container, web.ContainerAnswer]{
		record: acts.Containers(), path: "/api/v1/containers", short: "Record a bottle or a batch and print its label",
		example: `  fillmark shelf add --kind premix --product "PG 40 ready" --lot K-118 --fluid pg --mass 40% --left 5l --expires 2028-06-30
  fillmark shelf add --kind additive --product "Clear B" --lot 77 --left 250ml`,
		print: func(p *printer, c web.ContainerAnswer) {
			p.line("Container %d recorded. Its label:", c.ID)
			printLabel(p, c.Label)
		},
	})
}

func printLabel(p *printer, lines []string) {
	for _, line := range lines {
		p.paragraph("  ", "  ", line)
	}
}

func containerWords(c loops.Container) string {
	switch {
	case c.Fluid == "":
		return "additive"
	case c.Mass == nil || !c.Fluid.IsGlycol():
		return c.Fluid.Name()
	}
	return strings.ToUpper(string(c.Fluid)) + " " + c.Mass.String()
}

func (a *app) shelfShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show NUMBER", Short: "Show a container, its label, and which loops it went into",
		Example: `  fillmark shelf show 3`,
		Args:    oneNumber[loops.ContainerID]("container"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "GET", "/api/v1/containers/"+args[0], nil, func(p *printer, c web.ContainerAnswer) {
				p.line("Container %d: %s, %s, %s left (revision %d)", c.ID, c.Product, containerWords(c.Container), c.Left, c.Revision)
				printLabel(p, c.Label[1:])
				p.list([]string{"day", "loop", "volume"}, len(c.Uses), func(i int) []string {
					u := c.Uses[i]
					return []string{u.Day.Long(), string(c.UseTags[i]), u.Volume.String()}
				})
				if c.Note != "" {
					p.paragraph("note: ", "  ", c.Note)
				}
			})
		},
	}
}

func (a *app) shelfEditCommand() *cobra.Command {
	return editCommand(a, editing[loops.Container, web.ContainerAnswer, web.ContainerAnswer]{
		record: acts.Containers(), use: "NUMBER", short: "Change a container", args: oneNumber[loops.ContainerID]("container"), path: below("/api/v1/containers/"),
		example: `  fillmark shelf edit 3 --mass 39.4%±0.5%`,
		in:      func(c *web.ContainerAnswer) (*loops.Container, *uint64) { return &c.Container, &c.Revision },
		print: func(p *printer, c web.ContainerAnswer) {
			p.line("Container %d changed, now revision %d. Its label:", c.ID, c.Revision)
			printLabel(p, c.Label)
		},
	})
}

func (a *app) shelfUseCommand() *cobra.Command {
	var out web.TakeOut
	cmd := &cobra.Command{
		Use:   "use NUMBER --out VOLUME --went TEXT",
		Short: "Record what was taken out other than into a loop: spilt, poured away, mixed",
		Long: `What goes into a loop is recorded with the loop (loop fill, poured and dose with
--poured NUMBER=VOLUME), which reduces the container by itself.`,
		Example: `  fillmark shelf use 3 --out 500ml --went "into batch 7"`,
		Args:    oneNumber[loops.ContainerID]("container"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/containers/"+args[0]+"/take-out", out, func(p *printer, c web.ContainerAnswer) {
				p.line("%s is left in container %d.", c.Left, c.ID)
			})
		},
	}
	need(cmd.Flags(), &out.Volume, chemistry.ParseLitre, "out", "VOLUME", "how much came out")
	cmd.Flags().StringVar(&out.Why, "went", "", "where it went or is kept")
	needFlags(cmd, "out", "went")
	return cmd
}

func (a *app) shelfRecallCommand() *cobra.Command {
	return &cobra.Command{
		Use: "recall LOT", Short: "List every loop that a lot went into, with whom to call", Example: `  fillmark shelf recall K-118`,
		Args: exactlyOne("the lot on the label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "GET", query("/api/v1/recall", "lot", args[0]), nil, func(p *printer, recall workshop.Recall) {
				still := 0
				for _, l := range recall.Lines {
					if l.StillIn {
						still++
					}
				}
				p.line("Lot %s: %s, %d of them still in.", recall.Lot, plural(len(recall.Lines), "pour"), still)
				for _, c := range recall.Containers {
					p.line("  Container %d, %s: %s left on the shelf.", c.ID, c.Product, c.Left)
				}
				p.list([]string{"tag", "day", "volume", "still in", "owner", "telephone", "mail", "machine"}, len(recall.Lines), func(i int) []string {
					l := recall.Lines[i]
					return []string{string(l.Tag), l.Day.String(), l.Volume.String(), yesNo(l.StillIn), ownerWords(l.Owner, l.Name), l.Phone, l.Email, l.Machine}
				})
			})
		},
	}
}
