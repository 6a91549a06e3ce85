// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/loops/inspection"
)

// logAnswer is what log prints as JSON.
type logAnswer struct {
	inspection.Transient
	Diagnosis inspection.Diagnosis `json:"diagnosis"`
	Model     string               `json:"model"`
}

func (a *app) logCommand() *cobra.Command {
	var power float64
	touch := touched{}
	cmd := &cobra.Command{
		Use:   "log FILE.csv",
		Short: "What a temperature log from switching on says about the cooling",
		Long: `What a temperature log from switching on says about the cooling: whether the
heat gets into the plate, whether it is carried on, and which faults fit.

The file has two columns, seconds and °C, a reading every second or so for half
a minute, from any logging tool; --power is the heat that the log begins with.
What was felt and seen beside it tells faults apart that look alike in the log.`,
		Example: `  fillmark log boot.csv --power 65W --tubes "one hot, one cold" --fan running`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{fmt.Errorf("%d arguments given; one is right: the file with the log", len(args))}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			answer, err := analyseLog(args[0], power, touch.seen())
			if err != nil {
				return err
			}
			return a.print(answer, func(p *printer) { printLog(p, answer) })
		},
	}
	f := cmd.Flags()
	need(f, &power, number("W"), "power", "POWER", "heat of the machine during the log, such as 65W")
	needFlags(cmd, "power")
	touchFlags(f, touch)
	return cmd
}

// touched are the flags of what was felt and seen.
type touched map[inspection.Sign]*string

func touchFlags(f *pflag.FlagSet, touch touched) {
	for _, t := range []struct {
		sign  inspection.Sign
		name  string
		usage string
	}{
		{inspection.SignTubes, "tubes", "both cool, one hot, one cold, or both warm"},
		{inspection.SignCore, "radiator", "cold, warm, or hot all over"},
		{inspection.SignFan, "fan", "running or stopped"},
		{inspection.SignPump, "pump", "running, stopped, or erratic or gurgling"},
		{inspection.SignFins, "fins", "clean or dusty"},
	} {
		touch[t.sign] = f.String(t.name, "", t.usage)
	}
}

// seen returns the signs that were given.
func (t touched) seen() inspection.Seen {
	seen := inspection.Seen{}
	for sign, value := range t {
		if *value != "" {
			seen[sign] = inspection.Finding(*value)
		}
	}
	return seen
}

func analyseLog(path string, power float64, seen inspection.Seen) (logAnswer, error) {
	file, err := os.Open(path)
	if err != nil {
		return logAnswer{}, fmt.Errorf("log: %w", err)
	}
	defer file.Close()
	log, err := inspection.ReadLog(file)
	if err != nil {
		return logAnswer{}, fmt.Errorf("%s: %w", path, err)
	}
	answer := logAnswer{Model: inspection.ModelNote}
	if answer.Transient, err = inspection.Analyse(log, inspection.Watt(power)); err != nil {
		return logAnswer{}, err
	}
	seen.AddLog(answer.Transient)
	if len(seen) == 0 {
		answer.Diagnosis.Cannot = []string{inspection.PumpNote, inspection.MountNote}
		return answer, nil
	}
	answer.Diagnosis, err = inspection.Diagnose(seen)
	return answer, err
}

func printLog(p *printer, l logAnswer) {
	p.line("%s", l.Class)
	p.paragraph("", "", l.Text)
	if l.Capacity != nil {
		p.line("  Apparent heat capacity   %s ± %s (k = 2)", l.Capacity.Value, l.Capacity.Uncertainty)
	}
	p.line("  Jump in 5 s              %s", l.Jump)
	if l.Step != nil {
		p.line("  Time constant            %.1f s (%.1f to %.1f, 95 %%), towards %s", l.Step.Tau, l.Step.TauLow, l.Step.TauHigh, l.Step.End)
	}
	for _, note := range l.Notes {
		p.paragraph("  ", "    ", "The file: "+note+".")
	}
	printDiagnosis(p, l.Diagnosis)
	p.line("Cannot be told")
	for _, r := range l.Refused {
		p.paragraph("  ", "    ", r.Error()+".")
	}
	for _, c := range l.Diagnosis.Cannot {
		p.paragraph("  ", "    ", c)
	}
	p.paragraph("", "", l.Model+" There "+l.Rate+".")
}

// printDiagnosis prints the faults that fit best and what to measure next.
func printDiagnosis(p *printer, d inspection.Diagnosis) {
	if len(d.Fits) > 0 {
		p.line("Faults that fit")
		p.table([]string{"fit", "fault"}, min(4, len(d.Fits)), func(i int) []string {
			return []string{d.Fits[i].Percent(), d.Fits[i].Name()}
		})
	}
	if len(d.Next) > 0 {
		p.line("Measure next")
		for i, ask := range d.Next {
			p.paragraph(fmt.Sprintf("  %d. ", i+1), "     ", ask)
		}
	}
}
