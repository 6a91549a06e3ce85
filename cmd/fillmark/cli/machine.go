// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func (a *app) machineCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "machine", Short: "Machines: what owners bring, and donor units", Args: cobra.NoArgs}
	cmd.AddCommand(a.machineAddCommand(), a.machineListCommand(), a.machineShowCommand(), a.machineEditCommand())
	return cmd
}

// machineFlags are the fields of a machine but its owner, whom only a transfer
// changes.
func machineFlags(f *pflag.FlagSet, m *loops.Machine) {
	need(f, &m.Kind, choice("kind", loops.MachineKinds()), "kind", "KIND", "desktop, workstation, \"small server\", \"bench chiller\", \"laser chiller\", \"test rig\" or \"donor unit\"")
	f.StringVar(&m.Name, "name", m.Name, "how the owner speaks of it")
	f.StringVar(&m.Maker, "maker", m.Maker, "maker, as the workshop types it")
	f.StringVar(&m.Model, "model", m.Model, "model, as the workshop types it")
	f.Var(&listFlag[string]{target: &m.Accessories, parse: func(s string) (string, error) { return s, nil }, kind: "TEXT"}, "accessory", "what was handed in with it; repeat")
	f.BoolVar(&m.WarrantyAsked, "warranty-asked", m.WarrantyAsked, "the maker's warranty was asked about")
	f.StringVar(&m.WarrantyNote, "warranty-note", m.WarrantyNote, "what the answer was")
	need(f, &m.PromisedBack, orNone(loops.ParseDay), "promised", "DAY", "the day it was promised back, or none")
}

func (a *app) machineAddCommand() *cobra.Command {
	var m loops.Machine
	cmd := &cobra.Command{
		Use:     "add --owner NUMBER --kind KIND --name NAME",
		Short:   "Record a machine",
		Example: `  fillmark machine add --owner 3 --kind desktop --name "the grey tower" --accessory "power cord" --promised 2026-12-18`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			machine, err := ask[loops.Machine](cmd.Context(), a, "POST", "/api/v1/machines", m)
			if err != nil {
				return err
			}
			return a.print(machine, func(p *printer) {
				p.line("Machine %d recorded: %s, %s.", machine.ID, machine.Name, machine.Kind)
				if machine.Owner != 0 && !machine.WarrantyAsked {
					p.line("Ask about the maker's warranty before anything is opened (machine edit %d --warranty-asked).", machine.ID)
				}
			})
		},
	}
	f := cmd.Flags()
	f.Uint64Var((*uint64)(&m.Owner), "owner", 0, "`number` of the owner; none for a donor unit")
	machineFlags(f, &m)
	needFlags(cmd, "kind", "name")
	return cmd
}

func (a *app) machineListCommand() *cobra.Command {
	var sort, text, owner, kind, promised string
	cmd := &cobra.Command{
		Use: "list", Short: "List the machines", Args: noArgs,
		Example: `  fillmark machine list --promised 2026-12-18 --sort promised`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			path := query("/api/v1/machines", "sort", sort, "text", text, "owner", owner, "kind", kind, "promised", promised)
			machines, err := ask[items[workshop.MachineLine]](cmd.Context(), a, "GET", path, nil)
			if err != nil {
				return err
			}
			return a.print(machines, func(p *printer) {
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
		Use: "show NUMBER", Short: "Show a machine with its loops", Args: oneNumber[loops.MachineID]("machine"),
		RunE: func(cmd *cobra.Command, args []string) error {
			file, err := ask[workshop.MachineFile](cmd.Context(), a, "GET", "/api/v1/machines/"+args[0], nil)
			if err != nil {
				return err
			}
			return a.print(file, func(p *printer) { printMachine(p, file) })
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
	var revision uint64
	var write func(*loops.Machine) error
	cmd := &cobra.Command{
		Use: "edit NUMBER [what changes]", Short: "Change a machine; loop transfer gives it to another owner", Args: oneNumber[loops.MachineID]("machine"),
		Example: `  fillmark machine edit 5 --warranty-asked --warranty-note "ended in March" --promised none`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.with(cmd.Context(), func(c *client) error {
				path := "/api/v1/machines/" + args[0]
				file, err := call[workshop.MachineFile](cmd.Context(), c, "GET", path, nil)
				if err != nil {
					return err
				}
				if err := write(&file.Machine); err != nil {
					return err
				}
				settle(&file.Machine.Revision, revision)
				machine, err := call[loops.Machine](cmd.Context(), c, "PUT", path, file.Machine)
				if err != nil {
					return err
				}
				return a.print(machine, func(p *printer) {
					p.line("Machine %d changed: %s, now revision %d.", machine.ID, machine.Name, machine.Revision)
				})
			})
		},
	}
	write = editFlags(cmd, machineFlags)
	revisionFlag(cmd.Flags(), &revision)
	return cmd
}
