// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build man

package cli

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// docsCommands write the manual pages. They are built with the tag man only, when
// a release is made: what turns Markdown into pages is no part of the program.
func (a *app) docsCommands() []*cobra.Command {
	cmd := &cobra.Command{Use: "docs", Short: "References, for packages", Hidden: true, Args: cobra.NoArgs}
	cmd.AddCommand(&cobra.Command{
		Use: "man DIR", Short: "Write the manual pages into a folder", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("folder of the manual pages: %w", err)
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true // the pages tell the same on every day
			return doc.GenManTree(root, &doc.GenManHeader{Title: "FILLMARK", Section: "1", Source: "Fillmark", Manual: "Fillmark"}, args[0])
		},
	})
	return []*cobra.Command{cmd}
}
