// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"net/url"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/daemon"
)

// config loads the configuration, with --store laid over it.
func (a *app) config() (daemon.Config, error) {
	file := a.configFile
	if file == "" {
		file = a.env["FILLMARK_CONFIG"]
	}
	env := a.env
	if a.storePath != "" {
		env = maps.Clone(env)
		env["FILLMARK_STORE"] = a.storePath
	}
	c, err := daemon.LoadConfig(file, env)
	if err != nil {
		return c, &usageError{err}
	}
	return c, nil
}

func (a *app) configCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "config", Short: "Configuration: an example, and a check", Args: cobra.NoArgs}
	cmd.AddCommand(&cobra.Command{
		Use: "example", Short: "Print a commented configuration file",
		Example: `  fillmark config example > fillmark.yaml`,
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			if a.json {
				return &usageError{errors.New("--json: config example prints YAML alone; leave it out")}
			}
			_, err := fmt.Fprint(a.out, daemon.ConfigExample)
			return err
		},
	}, &cobra.Command{
		Use: "check [FILE]", Short: "Check a configuration file",
		Example: `  fillmark config check fillmark.yaml`,
		Args:    atMostOne("the configuration file"),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				a.configFile = args[0]
			}
			c, err := a.config()
			if err != nil {
				return err
			}
			if problems := c.ReachProblems(); len(problems) > 0 {
				return &usageError{errors.Join(problems...)}
			}
			if err := c.CheckFiles(a.now()); err != nil {
				return err
			}
			answer := configAnswer{OK: true, Notes: []string{}}
			for _, note := range []string{c.WithoutLinks(), c.WithoutCanary()} {
				if note != "" {
					answer.Notes = append(answer.Notes, note)
				}
			}
			return a.print(answer, func(p *printer) {
				p.line("The configuration is right.")
				for _, note := range answer.Notes {
					p.paragraph("", "", strings.ToUpper(note[:1])+note[1:]+".")
				}
			})
		},
	})
	return cmd
}

// configAnswer is what is said of a configuration that the daemon starts with.
type configAnswer struct {
	OK    bool     `json:"ok"`
	Notes []string `json:"notes"` // what it does without
}

func queryEscape(text string) string { return url.QueryEscape(text) }

func fixed1(v float64) string {
	if math.Abs(v) < 0.05 {
		v = 0 // no minus zero
	}
	return strconv.FormatFloat(v, 'f', 1, 64)
}
