// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/demo"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) tryCommand() *cobra.Command {
	var once, listen string
	var today loops.Day
	cmd := &cobra.Command{
		Use:   "try [--once DIR] [--today DAY]",
		Short: "Run the whole main job on an invented workshop",
		Long: `Run the whole main job on an invented workshop: mix, register, fill, hand over,
plan, sweep, compose, sign and deliver. With --once it all goes into the empty
folder DIR and the command ends; without it the pages are served from a
temporary folder until you press Ctrl-C. It needs no network and no
configuration.

With --today it is noon of that day at the workshop when it begins, and time
goes on from there, on the pages too: what will be due next spring?`,
		Example: `  fillmark try
  fillmark try --once workshop --today 2027-03-01`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			a := a.on(today)
			if cmd.Flags().Changed("once") {
				return a.tryOnce(cmd.Context(), once)
			}
			return a.tryAndServe(cmd.Context(), listen, cmd.Flags().Changed("listen"))
		},
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:8377", "`host:port` of the pages, on this computer")
	cmd.Flags().StringVar(&once, "once", "", "run into the empty folder `DIR` and end")
	need(cmd.Flags(), &today, demoDay, "today", "DAY", fmt.Sprintf("the day it runs on, %s to %s (default the real one)", firstDemoDay, lastDemoDay))
	return cmd
}

// The days the scenario can run on: its oldest fill is four years before and
// its last due day four after, and all of them are days that a record can have.
const (
	firstDemoDay = "1975-01-01"
	lastDemoDay  = "2195-12-31"
)

func demoDay(text string) (loops.Day, error) {
	day, err := loops.ParseDay(text)
	if err == nil && (day.String() < firstDemoDay || day.String() > lastDemoDay) {
		err = &loops.InvalidError{Field: "day", Value: text, Reason: fmt.Sprintf("a day from %s to %s, such as 2027-03-01", firstDemoDay, lastDemoDay)}
	}
	return day, err
}

// on is the app as it is on a day, the present one where the day is zero: its
// clock starts at noon in the invented workshop and goes on as a's does.
func (a *app) on(day loops.Day) *app {
	there := *a
	if !day.IsZero() {
		begun, noon := a.now(), day.At(12, demo.Config(daemon.DefaultConfig(a.env)).Zone())
		there.now = func() time.Time { return noon.Add(a.now().Sub(begun)) }
	}
	return &there
}

// invented is the configuration of the invented workshop, which needs none of ours:
// its letters are in the language of mail.language where that is set.
func (a *app) invented() (daemon.Config, error) {
	c := demo.Config(daemon.DefaultConfig(a.env))
	if a.configFile == "" && a.env["FILLMARK_CONFIG"] == "" && a.env["FILLMARK_MAIL_LANGUAGE"] == "" {
		return c, nil
	}
	own, err := a.config()
	if err != nil {
		return c, err
	}
	c.Mail.Language = own.Mail.Language
	return c, nil
}

// tryOnce runs the scenario into a folder that is empty or does not exist.
func (a *app) tryOnce(ctx context.Context, dir string) error {
	c, err := a.invented()
	if err != nil {
		return err
	}
	h, err := a.runScenario(ctx, dir, c)
	if err != nil {
		return err
	}
	p := &printer{out: a.out}
	p.line("▐ 7  In %s:", dir)
	p.line("     register.db    the register; fillmark --store %s loop list", filepath.Join(dir, "register.db"))
	p.line("     mail/          every mail, signed")
	p.line("     dkim-dns.txt   the text of the DNS record for %s._domainkey.%s", c.Mail.DKIMSelector, c.MailDomain())
	return h.Close()
}

// tryAndServe runs the scenario in a temporary folder and serves the pages. The
// usual port gives way to a free one where somebody has it; one asked for does
// not.
func (a *app) tryAndServe(ctx context.Context, listen string, asked bool) (err error) {
	c, err := a.invented()
	if err != nil {
		return err
	}
	c.Listen = listen
	if problems := c.Problems(); len(problems) > 0 {
		return &usageError{errors.Join(problems...)}
	}
	pages, err := daemon.BindPages(listen)
	if err != nil && !asked {
		fmt.Fprintf(a.errOut, "fillmark: %s is taken, so the pages get a free port\n", listen)
		pages, err = daemon.BindPages("127.0.0.1:0")
	}
	if err != nil {
		return err
	}
	c.StartSecret = signin.NewSecret()
	c.Listen, c.BaseURL, c.ReadHere = pages.Addr().String(), "", true // so that the links in the demo's mail open
	c = c.On(pages)
	dir, err := os.MkdirTemp("", "fillmark-try-")
	if err != nil {
		return errors.Join(err, pages.Close())
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	if err := daemon.CheckSocket(demo.Placed(c, dir).Socket()); err != nil {
		return errors.Join(fmt.Errorf("TMPDIR: %w", err), pages.Close())
	}
	h, err := a.runScenario(ctx, dir, c)
	if err != nil {
		return errors.Join(err, pages.Close())
	}
	c = demo.Placed(c, dir)
	log := daemon.NewLog(a.errOut, slog.LevelWarn)
	p := &printer{out: a.out}
	p.line("▐ 7  Pages: %s (until you press Ctrl-C). Mail: %s", c.Base()+web.StartPath(c.StartSecret), filepath.Join(dir, "mail"))
	return errors.Join(h.Serve(ctx, c, pages, a.now, log, a.announce), h.Close())
}

// runScenario runs the scenario into the folder, which has to be empty.
func (a *app) runScenario(ctx context.Context, dir string, c daemon.Config) (*daemon.Service, error) {
	if err := emptyFolder(dir); err != nil {
		return nil, err
	}
	p := &printer{out: a.out}
	h, err := demo.Run(ctx, dir, c, a.now, demo.Printer{Line: p.line, Paragraph: p.paragraph, Table: p.table, Build: sealedWord, Charge: chargeShort})
	if err != nil && ctx.Err() != nil {
		err = errors.New("stopped before the job was done") // whatever was at work then
	}
	return h, err
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
