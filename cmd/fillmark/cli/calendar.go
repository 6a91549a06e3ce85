// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) calendarCommand() *cobra.Command {
	return &cobra.Command{
		Use: "calendar [OWNER]", Short: "Print the calendar of the workshop, or of the owner with the number",
		Long: `Print the calendar of the workshop, or of one owner: the feed that calendar
programs subscribe to.`,
		Example: `  fillmark calendar > bench.ics
  fillmark calendar 3 > ana.ics`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return oneNumber[loops.OwnerID]("owner")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			path := query("/api/v1/calendar", "owner", strings.Join(args, ""))
			return tell(cmd.Context(), a, "GET", path, nil, func(_ *printer, answer web.CalendarAnswer) {
				for line := range strings.Lines(answer.Calendar) { // they end as RFC 5545 says, and hold nothing else that moves a cursor
					fmt.Fprint(a.out, loops.Visible(strings.TrimSuffix(line, "\r\n"))+"\r\n")
				}
			})
		},
	}
}
