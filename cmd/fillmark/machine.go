// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/loops"
)

func (a *app) machineCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "machine", Short: "Machines: what owners bring, and donor units", Args: cobra.NoArgs}
	cmd.AddCommand(a.machineAddCommand(), a.machineListCommand())
	return cmd
}

func (a *app) machineAddCommand() *cobra.Command {
	var m loops.Machine
	cmd := &cobra.Command{
		Use:     "add --owner NUMBER --kind KIND --name NAME",
		Short:   "Record a machine",
		Example: `  fillmark machine add --owner 3 --kind desktop --name "the grey tower"`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			machine, err := ask[loops.Machine](cmd.Context(), a, "POST", "/api/v1/machines", m)
			if err != nil {
				return err
			}
			return a.print(machine, func(p *printer) {
				p.line("Machine %d recorded: %s, %s.", machine.ID, machine.Name, machine.Kind)
			})
		},
	}
	f := cmd.Flags()
	f.Uint64Var((*uint64)(&m.Owner), "owner", 0, "`number` of the owner; none for a donor unit")
	need(f, &m.Kind, choice("kind", loops.MachineKinds()), "kind", "KIND", "desktop, workstation, \"small server\", \"bench chiller\", \"laser chiller\", \"test rig\" or \"donor unit\"")
	f.StringVar(&m.Name, "name", "", "how the owner speaks of it")
	f.StringVar(&m.Maker, "maker", "", "maker, as the workshop types it")
	f.StringVar(&m.Model, "model", "", "model, as the workshop types it")
	f.StringArrayVar(&m.Accessories, "accessory", nil, "what was handed in with it; repeat")
	f.BoolVar(&m.WarrantyAsked, "warranty-asked", false, "the maker's warranty was asked about")
	need(f, &m.PromisedBack, loops.ParseDay, "promised", "DAY", "the day it was promised back")
	needFlags(cmd, "kind", "name")
	return cmd
}

func (a *app) machineListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the machines", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			machines, err := ask[items[loops.Machine]](cmd.Context(), a, "GET", "/api/v1/machines", nil)
			if err != nil {
				return err
			}
			return a.print(machines, func(p *printer) {
				p.line("%s.", plural(len(machines.Items), "machine"))
				p.table([]string{"no.", "owner", "kind", "name"}, len(machines.Items), func(i int) []string {
					m := machines.Items[i]
					return []string{fmt.Sprint(m.ID), fmt.Sprint(m.Owner), string(m.Kind), m.Name}
				})
			})
		},
	}
}
