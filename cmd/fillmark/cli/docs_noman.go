// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !man

package cli

import "github.com/spf13/cobra"

// docsCommands are none in the program as it is shipped; its pages come with it.
func (a *app) docsCommands() []*cobra.Command { return nil }
