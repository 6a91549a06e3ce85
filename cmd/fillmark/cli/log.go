// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"fillmark/loops/inspection"
)

// logAnswer is what log prints as JSON.
type logAnswer struct {
	inspection.Transient
	// Cannot says what a log can never tell.
	Cannot []string `json:"cannot"`
	Model  string   `json:"model"`
}

func (a *app) logCommand() *cobra.Command {
	var power float64
	cmd := &cobra.Command{
		Use:   "log FILE.csv",
		Short: "What a temperature log from switching on says about the cooling",
		Long: `What a temperature log from switching on says about the cooling: whether the
heat gets into the plate and whether it is carried on. fillmark triage --log
weighs it with what is felt and seen.

The file has a time in seconds and a temperature, a reading every second or so
for half a minute, as CSV, JSON or Prometheus text from any logging tool;
--power is the heat that the log begins with.`,
		Example: `  fillmark log boot.csv --power 65W`,
		Args:    exactlyOne("the file with the log"),
		RunE: func(_ *cobra.Command, args []string) error {
			answer, err := analyseLog(args[0], power)
			if err != nil {
				return err
			}
			return a.print(answer, func(p *printer) { printLog(p, answer) })
		},
	}
	f := cmd.Flags()
	need(f, &power, number("W"), "power", "POWER", "heat of the machine during the log, such as 65W")
	needFlags(cmd, "power")
	return cmd
}

func analyseLog(path string, power float64) (logAnswer, error) {
	file, err := os.Open(path)
	if err != nil {
		return logAnswer{}, fmt.Errorf("log: %w", err)
	}
	defer file.Close()
	log, err := inspection.ReadLog(file)
	if err != nil {
		return logAnswer{}, fmt.Errorf("%s: %w", path, err)
	}
	answer := logAnswer{Model: inspection.ModelNote, Cannot: []string{inspection.PumpNote, inspection.MountNote}}
	answer.Transient, err = inspection.Analyse(log, inspection.Watt(power))
	return answer, err
}

func printLog(p *printer, l logAnswer) {
	p.line("%s", l.Class)
	p.paragraph("", "", l.Text)
	if l.Capacity != nil {
		p.line("  Apparent heat capacity   %s ± %s (k = 2)", l.Capacity.Value, l.Capacity.Uncertainty)
	}
	p.line("  Jump in 5 s              %s", l.Jump)
	for _, note := range l.Notes {
		p.paragraph("  ", "    ", "The file: "+note+".")
	}
	p.line("Cannot be told")
	for _, r := range l.Refused {
		p.paragraph("  ", "    ", r.Error()+".")
	}
	for _, c := range l.Cannot {
		p.paragraph("  ", "    ", c)
	}
	p.paragraph("", "", l.Model+" There "+l.Rate+".")
}
