// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"maps"
	"math"
	"net/url"
	"runtime/debug"
	"strconv"

	"github.com/spf13/cobra"

	"fillmark/loops"
)

// config loads the configuration, with --store laid over it.
func (a *app) config() (config, error) {
	file := a.configFile
	if file == "" {
		file = a.env["FILLMARK_CONFIG"]
	}
	env := a.env
	if a.storePath != "" {
		env = maps.Clone(env)
		env["FILLMARK_STORE"] = a.storePath
	}
	c, err := loadConfig(file, env)
	if err != nil {
		return c, &usageError{err}
	}
	return c, nil
}

func (a *app) configCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "config", Short: "Configuration: an example, and a check", Args: cobra.NoArgs}
	cmd.AddCommand(&cobra.Command{
		Use: "example", Short: "Print a commented configuration file", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprint(a.out, configExample)
			return err
		},
	}, &cobra.Command{
		Use: "check [FILE]", Short: "Check a configuration file", Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				a.configFile = args[0]
			}
			c, err := a.config()
			if err != nil {
				return err
			}
			if err := c.checkMailFiles(); err != nil {
				return err
			}
			_, err = fmt.Fprintln(a.out, "The configuration is right.")
			return err
		},
	})
	return cmd
}

// checkMailFiles reads what the configuration names for mail, as the start
// does: templates, key and password.
func (c config) checkMailFiles() error {
	if _, err := c.templates(); err != nil {
		return err
	}
	_, err := newDeliverer(c, nil, nil)
	return err
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Print the version", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			version := "unknown"
			if info, ok := debug.ReadBuildInfo(); ok {
				version = info.Main.Version
			}
			return a.print(map[string]string{"version": version}, func(p *printer) { p.line("fillmark %s", version) })
		},
	}
}

// today is the civil day in the workshop's zone; a configuration that cannot
// be read is reported by the command's own request.
func (a *app) today() loops.Day {
	c, _ := a.config()
	return loops.DayOf(a.now(), c.zone())
}

func queryEscape(text string) string { return url.QueryEscape(text) }

func pathEscape(text string) string { return url.PathEscape(text) }

func fixed1(v float64) string {
	if math.Abs(v) < 0.05 {
		v = 0 // no minus zero
	}
	return strconv.FormatFloat(v, 'f', 1, 64)
}
