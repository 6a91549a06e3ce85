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

func (a *app) machineCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "machine", Short: "Machines: what owners bring, and donor units", Args: cobra.NoArgs}
	cmd.AddCommand(a.machineAddCommand(), a.machineListCommand(), a.machineShowCommand(), a.machineEditCommand())
	return cmd
}

func (a *app) machineAddCommand() *cobra.Command {
	return addCommand(a, acts.Said{}, adding[loops.Machine, loops.Machine]{
		record: acts.Machines(), path: "/api/v1/machines", short: "Record a machine",
		example: `  fillmark machine add --owner 3 --kind desktop --name "the grey tower" --accessory "power cord" --promised 2026-12-18`,
		print: func(p *printer, m loops.Machine) {
			p.line("Machine %d recorded: %s, %s.", m.ID, m.Name, m.Kind)
			if m.Owner != 0 && !m.WarrantyAsked {
				p.line("Ask about the maker's warranty before anything is opened (machine edit %d --warranty-asked).", m.ID)
			}
		},
	})
}

func (a *app) machineListCommand() *cobra.Command {
	var sort, text, owner, kind, promised string
	cmd := &cobra.Command{
		Use: "list", Short: "List the machines", Args: noArgs,
		Example: `  fillmark machine list --promised 2026-12-18 --sort promised`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			path := query("/api/v1/machines", "sort", sort, "text", text, "owner", owner, "kind", kind, "promised", promised)
			return tell(cmd.Context(), a, "GET", path, nil, func(p *printer, machines items[workshop.MachineLine]) {
				p.line("%s.", plural(len(machines.Items), "machine"))
				p.list([]string{"no.", "owner", "kind", "name", "promised"}, len(machines.Items), func(i int) []string {
					m := machines.Items[i]
					return []string{fmt.Sprint(m.ID), ownerWords(m.Owner, m.OwnerName), string(m.Kind), m.Name, m.PromisedBack.String()}
				})
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&sort, "sort", "", "`order`: name, owner or promised (default by number)")
	f.StringVar(&text, "text", "", "only those with the `text` in name, maker or model")
	f.StringVar(&owner, "owner", "", "only those of the owner with the `number`")
	f.StringVar(&kind, "kind", "", "only those of the `kind`")
	f.StringVar(&promised, "promised", "", "only those promised back by the `day`")
	return cmd
}

func ownerWords(id loops.OwnerID, name string) string {
	if id == 0 {
		return "-"
	}
	return fmt.Sprintf("%d %s", id, name)
}

func (a *app) machineShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show NUMBER", Short: "Show a machine with its loops",
		Example: `  fillmark machine show 5`,
		Args:    oneNumber[loops.MachineID]("machine"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return tell(cmd.Context(), a, "GET", "/api/v1/machines/"+args[0], nil, printMachine)
		},
	}
}

func printMachine(p *printer, file workshop.MachineFile) {
	m := file.Machine
	p.line("Machine %d: %s, %s (revision %d)", m.ID, m.Name, m.Kind, m.Revision)
	if m.Owner != 0 {
		p.line("  owner: %d %s", m.Owner, file.OwnerName)
	}
	if made := strings.TrimSpace(m.Maker + " " + m.Model); made != "" {
		p.line("  made as: %s", made)
	}
	if len(m.Accessories) > 0 {
		p.paragraph("  handed in with it: ", "    ", strings.Join(m.Accessories, ", "))
	}
	warranty := "not asked"
	if m.WarrantyAsked {
		warranty = strings.TrimRight("asked; "+m.WarrantyNote, "; ")
	}
	p.paragraph("  maker's warranty: ", "    ", warranty)
	if !m.PromisedBack.IsZero() {
		p.line("  promised back: %s", m.PromisedBack.Long())
	}
	printLoopLines(p, file.Loops)
}

func (a *app) machineEditCommand() *cobra.Command {
	return editCommand(a, editing[loops.Machine, workshop.MachineFile, loops.Machine]{
		record: acts.Machines(), use: "NUMBER", short: "Change a machine; loop transfer gives it to another owner",
		args: oneNumber[loops.MachineID]("machine"), path: below("/api/v1/machines/"),
		example: `  fillmark machine edit 5 --warranty-asked --warranty-note "ended in March" --promised none`,
		in: func(file *workshop.MachineFile) (*loops.Machine, *uint64) {
			return &file.Machine, &file.Machine.Revision
		},
		print: func(p *printer, m loops.Machine) {
			p.line("Machine %d changed: %s, now revision %d.", m.ID, m.Name, m.Revision)
		},
	})
}
