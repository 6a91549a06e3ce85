// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) calendarCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "calendar", Short: "Calendar: the feeds that calendar programs subscribe to", Args: cobra.NoArgs}
	show := func(cmd *cobra.Command, path string) error {
		return tell(cmd.Context(), a, "GET", path, nil, func(_ *printer, answer web.CalendarAnswer) {
			for line := range strings.Lines(answer.Calendar) { // they end as RFC 5545 says, and hold nothing else that moves a cursor
				fmt.Fprint(a.out, loops.Visible(strings.TrimSuffix(line, "\r\n"))+"\r\n")
			}
		})
	}
	cmd.AddCommand(&cobra.Command{
		Use: "owner NUMBER", Short: "Print the feed of one owner",
		Example: `  fillmark calendar owner 3 > ana.ics`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				if _, err := strconv.ParseUint(args[0], 10, 64); err == nil {
					return nil
				}
			}
			return &usageError{fmt.Errorf("%q is no owner; one number is right, as owner list shows it", args)}
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return show(cmd, "/api/v1/calendar?owner="+args[0])
		},
	}, &cobra.Command{
		Use: "technician", Short: "Print the feed of the workshop",
		Example: `  fillmark calendar technician > bench.ics`,
		Args:    noArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return show(cmd, "/api/v1/calendar") },
	})
	return cmd
}
