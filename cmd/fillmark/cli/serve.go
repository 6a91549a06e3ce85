// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"log/slog"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
)

func (a *app) serveCommand() *cobra.Command {
	var listen string
	var open bool
	cmd := &cobra.Command{
		Use: "serve", Short: "Serve the pages and send what is due",
		Example: `  fillmark serve
  fillmark --config fillmark.yaml serve --listen 127.0.0.1:8377`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			if listen != "" {
				c.Listen = listen
			}
			c.OpenBench = open
			if err := c.MayOpenBench(); err != nil {
				return &usageError{err}
			}
			if problems := append(c.Problems(), c.ReachProblems()...); len(problems) > 0 {
				return &usageError{errors.Join(problems...)}
			}
			log := daemon.NewLog(a.errOut, slog.LevelInfo)
			pages, taken := daemon.BindPages(c.Listen)
			if taken == nil {
				c = c.On(pages)
			}
			// A register that another daemon holds says more than its port.
			service, err := daemon.OpenWaiting(cmd.Context(), c, a.now, log)
			switch {
			case err != nil && taken == nil:
				return errors.Join(err, pages.Close())
			case err != nil:
				return err
			case taken != nil:
				return errors.Join(taken, service.Close())
			}
			return errors.Join(service.Serve(cmd.Context(), c, pages, a.now, log, a.announceWithLink(service)), service.Close())
		},
	}
	cmd.Flags().BoolVar(&open, "open-bench", false, "show the bench on this computer without a sign-in until a technician has a password; only where nothing else reaches it")
	cmd.Flags().StringVar(&listen, "listen", "", "`host:port` of the pages, instead of the configured one")
	return cmd
}

// announce says where the pages are.
func (a *app) announce(address string) error {
	_, err := fmt.Fprintf(a.errOut, "Fillmark serves %s\n", address)
	return err
}

// announceWithLink adds, while nobody has a password, the link with which the
// first technician sets one. It goes to a terminal alone: what is not one may be
// kept, as the journal is, so there it says how to get the link.
func (a *app) announceWithLink(h *daemon.Service) func(address string) error {
	return func(address string) error {
		if err := a.announce(address); err != nil {
			return err
		}
		closed, err := h.Gate.Closed()
		if err != nil || closed {
			return err
		}
		if file, ok := a.errOut.(*os.File); !ok || !term.IsTerminal(int(file.Fd())) {
			_, err = fmt.Fprintln(a.errOut, "No technician has a password yet. On this computer, fillmark technician password --link prints the link that sets the first one.")
			return err
		}
		secret, err := h.Gate.Link("", signin.Stamp{At: a.now().UTC(), By: localActor(a.env)})
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(a.errOut, "No technician has a password yet. Once, within the hour: %s%s\n", address, web.PasswordPath(secret))
		return err
	}
}
