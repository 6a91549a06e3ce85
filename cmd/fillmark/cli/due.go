// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"cmp"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/web"
	"fillmark/schedule"
)

func (a *app) dueCommand() *cobra.Command {
	return &cobra.Command{
		Use: "due", Short: "What is due: overdue, today, this week, whom to call",
		Example: `  fillmark due
  fillmark due --json | jq .overdue`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "GET", "/api/v1/due", nil, printDue)
		},
	}
}

func printDue(p *printer, d web.DueAnswer) {
	p.line("%s: %d overdue, %d today, %d this week.", d.Day.Long(), len(d.Overdue), len(d.Today), len(d.Week))
	printTransport(p, d.MailReachesOwners)
	for _, alarm := range d.Alarms {
		p.paragraph("▐ ", "  ", alarm.Reason+" "+alarm.Remedy)
	}
	for _, l := range d.House {
		p.paragraph("▐ ", "  ", l.Check+": "+l.Says+" "+l.Do)
	}
	for _, n := range d.Notices {
		p.paragraph("▐ ", "  ", n.Text+" "+n.Reason)
	}
	for _, group := range []struct {
		title string
		lines []schedule.Line
	}{{"Overdue", d.Overdue}, {"Today", d.Today}, {"This week", d.Week}} {
		printLines(p, group.title, group.lines)
	}
	if len(d.Overdue)+len(d.Today)+len(d.Week) == 0 && len(d.Later) > 0 {
		next := d.Later[0]
		p.paragraph("", "  ", "Next: "+string(next.Tag)+" "+next.Machine+", "+string(next.Task)+", on "+next.Due.Long()+": "+next.Because())
	}
	printSentences(p, "To call", schedule.Conversations(d.Call))
	printMorning(p, d.Morning)
}

func printLines(p *printer, title string, lines []schedule.Line) {
	if len(lines) == 0 {
		return
	}
	p.line("▐ %s", title)
	for _, l := range lines {
		p.line("  %s  %-17s %s (%s)", l.Tag, l.Task, l.Due.Long(), l.Standing())
		p.paragraph("          ", "          ", l.Machine+", "+cmp.Or(l.Owner, "no owner")+": "+l.Because())
	}
}

// printTransport says plainly when mail reaches no owner.
func printTransport(p *printer, reaches bool) {
	if !reaches {
		p.paragraph("", "", "Mail only goes to a folder here (mail.transport: maildir): no owner gets it.")
	}
}

func (a *app) sweepCommand() *cobra.Command {
	return &cobra.Command{
		Use: "sweep", Short: "Compose and send the reminders that are due now",
		Example: `  fillmark sweep`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return tell(cmd.Context(), a, "POST", "/api/v1/sweep", nil, func(p *printer, answer web.SweepAnswer) {
				p.line("%s composed, %d delivered, %d put off, %d refused, %d expired.",
					plural(len(answer.Reminders), "reminder"), answer.Delivered, answer.Deferred, answer.Refused, answer.Expired)
				printTransport(p, answer.MailReachesOwners)
				if answer.RelayFault != "" {
					p.paragraph("", "  ", "The relay takes no mail, so all of it waits and no owner is marked: "+answer.RelayFault)
				}
				for _, r := range answer.Reminders {
					p.paragraph("  ", "    ", r.Owner+": "+r.Subject)
				}
				if answer.Calls > 0 {
					p.line("%s for a person: fillmark due lists whom to call.", plural(answer.Calls, "task"))
				}
			})
		},
	}
}
