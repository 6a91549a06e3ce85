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
	"time"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
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
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			a := a.on(today)
			if cmd.Flags().Changed("once") {
				return a.tryOnce(cmd.Context(), once)
			}
			return a.tryAndServe(cmd.Context(), listen)
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
		begun, noon := a.now(), day.At(12, demoConfig(defaultConfig(a.env)).zone())
		there.now = func() time.Time { return noon.Add(a.now().Sub(begun)) }
	}
	return &there
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

// tryAndServe runs the scenario in a temporary folder and serves the pages.
func (a *app) tryAndServe(ctx context.Context, listen string) (err error) {
	dir, err := os.MkdirTemp("", "fillmark-try-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	c := demoConfig(defaultConfig(a.env))
	c.Listen = listen
	if problems := c.problems(); len(problems) > 0 {
		return &usageError{errors.Join(problems...)}
	}
	c.BaseURL = "http://" + c.Listen // so that the links in the demo's mail open
	h, err := a.try(ctx, dir, c)
	if err != nil {
		return err
	}
	c = placed(c, dir)
	log := newLog(a.errOut, slog.LevelWarn)
	p := &printer{out: a.out}
	p.line("▐ 7  Pages: http://%s (until you press Ctrl-C). Mail: %s", c.Listen, filepath.Join(dir, "mail"))
	return errors.Join(a.serve(ctx, c, h, log, a.announce), h.close())
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
	d := demo{house: h, out: &printer{out: a.out}, now: a.now(), zone: c.zone()}
	d.out.line("%s, an invented workshop, on %s", c.Workshop.Name, loops.DayOf(d.now, d.zone).Long())
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
