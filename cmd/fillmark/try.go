// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
)

func (a *app) tryCommand() *cobra.Command {
	var once, listen string
	cmd := &cobra.Command{
		Use:   "try [--once DIR]",
		Short: "Run the whole main job on an invented workshop",
		Long: `Run the whole main job on an invented workshop: mix, register, fill, hand over,
plan, sweep, compose, sign and deliver. With --once it all goes into the empty
folder DIR and the command ends; without it the pages are served from a
temporary folder until you press Ctrl-C. It needs no network and no
configuration.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("once") {
				return a.tryOnce(cmd.Context(), once)
			}
			return a.tryAndServe(cmd.Context(), listen, cmd.Flags().Changed("listen"))
		},
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:8377", "`host:port` of the pages, on this computer")
	cmd.Flags().StringVar(&once, "once", "", "run into the empty folder `DIR` and end")
	return cmd
}

// tryOnce runs the scenario into a folder that is empty or does not exist.
func (a *app) tryOnce(ctx context.Context, dir string) error {
	c := demoConfig(defaultConfig(a.env))
	h, err := a.try(ctx, dir, c)
	if err != nil {
		return err
	}
	p := &printer{out: a.out}
	p.line("▐ 7  In %s:", dir)
	p.line("     register.db    the register; fillmark --store %s loop list", filepath.Join(dir, "register.db"))
	p.line("     mail/          every mail, signed")
	p.line("     dkim-dns.txt   the text of the DNS record for %s._domainkey.%s", c.Mail.DKIMSelector, c.mailDomain())
	return h.close()
}

// tryAndServe runs the scenario in a temporary folder and serves the pages. The
// usual port gives way to a free one where somebody has it; one asked for does
// not.
func (a *app) tryAndServe(ctx context.Context, listen string, asked bool) (err error) {
	c := demoConfig(defaultConfig(a.env))
	c.Listen = listen
	if problems := c.problems(); len(problems) > 0 {
		return &usageError{errors.Join(problems...)}
	}
	pages, err := bindPages(listen)
	if err != nil && !asked {
		fmt.Fprintf(a.errOut, "fillmark: %s is taken, so the pages get a free port\n", listen)
		pages, err = bindPages("127.0.0.1:0")
	}
	if err != nil {
		return err
	}
	c.Listen = pages.Addr().String()
	c.BaseURL = "http://" + c.Listen // so that the links in the demo's mail open
	dir, err := os.MkdirTemp("", "fillmark-try-")
	if err != nil {
		return errors.Join(err, pages.Close())
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	h, err := a.try(ctx, dir, c)
	if err != nil {
		return errors.Join(err, pages.Close())
	}
	c = placed(c, dir)
	log := newLog(a.errOut, slog.LevelWarn)
	p := &printer{out: a.out}
	p.line("▐ 7  Pages: %s (until you press Ctrl-C). Mail: %s", c.BaseURL, filepath.Join(dir, "mail"))
	return errors.Join(a.serve(ctx, c, h, pages, log, a.announce), h.close())
}

// placed lays the register and everything beside it into the folder.
func placed(c config, dir string) config {
	c.Store = filepath.Join(dir, "register.db")
	return c
}

// try runs the scenario into the folder and leaves its house open.
func (a *app) try(ctx context.Context, dir string, c config) (*house, error) {
	if err := emptyFolder(dir); err != nil {
		return nil, err
	}
	c = placed(c, dir)
	key := c.firstKey()
	if err := key.write(); err != nil {
		return nil, err
	}
	record, err := key.record(c.mailDomain())
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(filepath.Join(dir, "dkim-dns.txt"), []byte(record.Value+"\n"), 0o644); err != nil {
		return nil, err
	}
	h, err := openHouse(c, a.now, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(a.out, "%s, an invented workshop, on its real day\n", c.Workshop.Name)
	d := demo{house: h, out: &printer{out: a.out}, now: a.now(), zone: c.zone()}
	if err := d.run(ctx); err != nil {
		return nil, errors.Join(err, h.close())
	}
	return h, nil
}

// emptyFolder makes the folder, or checks that nothing is in it that could be
// overwritten.
func emptyFolder(dir string) error {
	if strings.TrimSpace(dir) == "" {
		return &usageError{errors.New("--once: the name of an empty folder is right")}
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("--once: %w", err)
	}
	there, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("--once: %w", err)
	}
	if len(there) > 0 {
		return &usageError{fmt.Errorf("--once: %q is not empty; an empty or new folder is right, so that nothing is overwritten", dir)}
	}
	return nil
}

func verdictWord(v chemistry.Verdict) string { return strings.ToUpper(string(v)) }
