// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"maps"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/inspection"
)

// faultsAnswer is what loop faults prints as JSON.
type faultsAnswer struct {
	Signs     inspection.Seen      `json:"signs"`
	Diagnosis inspection.Diagnosis `json:"diagnosis"`
	Model     string               `json:"model"`
}

func (a *app) loopFaultsCommand() *cobra.Command {
	touch := touched{}
	var file string
	var power float64
	cmd := &cobra.Command{
		Use:   "faults TAG",
		Short: "Which faults fit the last readings of a loop with what is felt and seen, and what to measure next",
		Long: `Which faults fit a loop, two at once where one does not explain it: the last
readings on record against the loop's own first ones, what is felt and seen, and
a temperature log where there is one. Nothing is recorded.`,
		Example: `  fillmark loop faults 7K3QXA --tubes "one hot, one cold" --fan running --log boot.csv --power 65W`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			kept, err := ask[workshop.File](cmd.Context(), a, "GET", "/api/v1/loops/"+string(tag), nil)
			if err != nil {
				return err
			}
			answer := faultsAnswer{Signs: inspection.Seen{}, Model: inspection.ModelNote}
			if r := kept.Readings; r != nil && r.Last != nil {
				maps.Copy(answer.Signs, r.Last.Signs)
			}
			maps.Copy(answer.Signs, touch.seen())
			if file != "" {
				log, err := analyseLog(file, power, inspection.Seen{})
				if err != nil {
					return err
				}
				answer.Signs.AddLog(log.Transient)
			}
			if answer.Diagnosis, err = inspection.Diagnose(answer.Signs); err != nil {
				return err
			}
			return a.print(answer, func(p *printer) { printFaultsOf(p, answer) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "log", "", "`FILE` with a temperature log from switching on, as fillmark log reads it")
	need(f, &power, number("W"), "power", "POWER", "heat of the machine during the log, such as 65W; needed with --log")
	touchFlags(f, touch)
	return cmd
}

func printFaultsOf(p *printer, answer faultsAnswer) {
	p.line("Signs")
	for _, sign := range inspection.Signs() {
		if finding, ok := answer.Signs[sign]; ok {
			p.line("  %-22s %s", sign, finding)
		}
	}
	printDiagnosis(p, answer.Diagnosis)
	p.line("Cannot be told")
	for _, c := range answer.Diagnosis.Cannot {
		p.paragraph("  ", "    ", c)
	}
	p.paragraph("", "", answer.Model)
}
