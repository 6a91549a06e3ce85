// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package demo runs the whole main job on an invented workshop, day by day,
// through the real actions on a real register: what the command try shows.
package demo

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/loops"
)

// Printer is how the scenario says what it does, in the words of the commands.
type Printer struct {
	Line      func(format string, args ...any)
	Paragraph func(lead, indent, text string)
	Table     func(header []string, rows int, row func(int) []string)
	Build     func(loops.Loop) string    // sealed or open
	Charge    func(*loops.Charge) string // what is in a loop, for a table's column
}

// Placed lays the register and everything beside it into the folder.
func Placed(c daemon.Config, dir string) daemon.Config {
	c.Store = filepath.Join(dir, "register.db")
	return c
}

// Run runs the scenario into the empty folder and leaves open what stands
// on its register.
func Run(ctx context.Context, dir string, c daemon.Config, now func() time.Time, out Printer) (*daemon.Service, error) {
	c = Placed(c, dir)
	key := c.Keys().First()
	if err := key.Write(); err != nil {
		return nil, err
	}
	record, err := key.Record(c.MailDomain())
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(filepath.Join(dir, "dkim-dns.txt"), []byte(record.Value+"\n"), 0o644); err != nil {
		return nil, err
	}
	h, err := daemon.Open(c, now, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	d := demo{system: h, out: out, now: now(), zone: c.Zone()}
	out.Line("%s, an invented workshop, on %s", c.Workshop.Name, loops.DayOf(d.now, d.zone).Long())
	if err := d.run(ctx); err != nil {
		return nil, errors.Join(err, h.Close())
	}
	return h, nil
}
