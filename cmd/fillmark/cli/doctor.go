// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"log/slog"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/doctor"
)

// errUnwell is returned by a command that printed its answer: something is to be
// put right.
var errUnwell = errors.New("something is to be put right")

func (a *app) doctorCommand() *cobra.Command {
	return &cobra.Command{
		Use: "doctor", Short: "Check that all is well: one line a check, and what to do",
		Example: `  fillmark doctor`,
		Args:    noArgs,
		Long: `Doctor looks at all that mail, backups and the register itself depend on: clock,
disk, permissions, DNS records, certificate, sweeps, what waits, what failed. A line
that follows from another's fault says so. The exit status is 1 while a line is
red, and 0 otherwise. With a daemon running it is the daemon that looks.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			report, err := during(a, "looking", func() (doctor.Report, error) {
				conn, err := c.Dial(cmd.Context())
				switch {
				case errors.Is(err, daemon.ErrStranger):
					return doctor.Report{}, err
				case err != nil:
					return daemon.Examine(cmd.Context(), c, a.now, slog.New(slog.DiscardHandler))
				}
				_ = conn.Close() // only asked whether somebody answers
				return ask[doctor.Report](cmd.Context(), a, "GET", "/api/v1/doctor", nil)
			})
			if err != nil {
				return err
			}
			if err := a.print(report, func(p *printer) { printDoctor(p, report) }); err != nil || report.OK {
				return err
			}
			return errUnwell
		},
	}
}

func printDoctor(p *printer, r doctor.Report) {
	if r.OK {
		p.line("All is well: nothing needs putting right.")
	} else {
		p.line("%d to put right.", r.Count(doctor.Red))
	}
	marks := map[doctor.State]string{doctor.Red: "RED", doctor.Follows: "follows", doctor.Good: "good", doctor.NotHere: "-"}
	for _, l := range r.Lines {
		says := l.Says
		if len(l.From) > 0 {
			says += " Follows from: " + strings.Join(l.From, ", ") + "."
		}
		const indent = "                            "
		lead := marks[l.State]
		lead += strings.Repeat(" ", 8-len(lead)) + l.Check
		p.paragraph(lead+strings.Repeat(" ", max(1, len(indent)-len(lead))), indent, says)
		if l.State == doctor.Red && l.Do != "" {
			p.paragraph(indent+"▐ ", indent+"  ", l.Do)
		}
	}
}
