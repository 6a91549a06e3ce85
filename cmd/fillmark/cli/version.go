// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"runtime/debug"

	"github.com/spf13/cobra"
)

// versionCommand is what --version says, and takes --json.
func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Print the version", Hidden: true,
		Example: `  fillmark version`,
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			return a.print(map[string]string{"version": version()}, func(p *printer) { p.line("fillmark %s", version()) })
		},
	}
}

// version is the one that this program was built from.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		return info.Main.Version
	}
	return "unknown"
}
