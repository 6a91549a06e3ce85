// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"time"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// Examine looks at the house with no daemon running: at its register too, where
// one can be opened.
func Examine(ctx context.Context, c Config, now func() time.Time, log *slog.Logger) (doctor.Report, error) {
	there, err := c.RegisterThere()
	h := (*Service)(nil)
	if there {
		h, err = OpenAny(c, now, log)
	}
	if err != nil || !there {
		f := c.facts(now())
		if f.Register.Missing = err == nil; err != nil {
			cannotRead(&f, err)
		}
		return doctor.Examine(c.asked(ctx, f)), nil
	}
	report := h.Examine(ctx)
	return report, h.Close()
}

// Examine looks at everything; it asks the DNS and walks through the register.
func (h *Service) Examine(ctx context.Context) doctor.Report {
	c := h.keeper.config
	f := c.asked(ctx, h.facts())
	if err := h.walk(&f); err != nil && f.Register.Fault == "" {
		cannotRead(&f, err)
	}
	if h.mailbox != nil {
		within, cancel := context.WithTimeout(ctx, lookTime)
		defer cancel()
		f.Mailbox.Asked, f.Mailbox.Fault = true, ""
		if err := h.mailbox.Check(within); err != nil {
			f.Mailbox.Fault = loops.Visible(err.Error())
		}
	}
	report := doctor.Examine(f)
	if ctx.Err() == nil {
		h.examined.Store(&report)
	}
	return report
}

// cannotRead notes why the register cannot be read.
func cannotRead(f *doctor.Facts, err error) {
	f.Register.Fault, f.Register.Away = err.Error(), errors.Is(err, loops.ErrAway)
}

// Quick looks at what is known at once, and adds what the last whole look found.
func (h *Service) Quick() doctor.Report {
	f := h.facts()
	return doctor.Quick(f).With(h.examined.Load(), f.Zone)
}

// Seen is what the alarms saw when they were last asked.
func (h *Service) Seen() doctor.Report {
	if seen := h.seen.Load(); seen != nil {
		return seen.report
	}
	return h.Quick()
}

// facts are what is known at once.
func (h *Service) facts() doctor.Facts {
	f, _, _ := h.factsOf()
	return f
}

// factsOf is facts, and how the work stands on record, or why that cannot be read.
func (h *Service) factsOf() (doctor.Facts, loops.Upkeep, error) {
	now := h.now()
	f := h.keeper.config.facts(now)
	f.Daemon = h.serving.Load()
	f.Leads = h.lead.other()
	f.Register.ReadOnly = h.readOnly
	if err := h.Store.InPlace(); err != nil {
		f.Register.Moved = err.Error()
	}
	upkeep, err := h.Store.Upkeep(audited)
	if err != nil {
		cannotRead(&f, err)
	}
	h.stands(&f, upkeep)
	f.Certificate.Served = h.certificateServed()
	f.Mailbox.Asked, f.Mailbox.Fault, _ = h.reading.last()
	f.Sweep = "no daemon runs"
	if f.Daemon {
		f.Sweep = ""
		if err := h.pulse.Late(now); err != nil {
			f.Sweep = err.Error()
		}
	}
	if fault := h.pulse.Fault(); errors.Is(fault, loops.ErrFull) {
		f.Full = fault.Error()
	}
	return f, upkeep, err
}

// audited bounds how many lines of the audit the clock is held against.
const audited = 64

// stands adds what the register has at hand.
func (h *Service) stands(f *doctor.Facts, is loops.Upkeep) {
	f.Newest = is.Uptime.Swept
	if is.Noted.After(f.Newest) {
		f.Newest = is.Noted
	}
	f.Backup.Backups = is.Backups
	if made := f.Backup.Made; !made.IsZero() {
		f.Backup.Due = h.keeper.config.nextBackup(made)
	}
	f.Canary.Set, f.Canary.Last = h.Workshop.SendsCanary(), is.Canary.Arrived
	f.Canary.Fault, _ = h.Workshop.CanaryTrouble(is.Canary, f.At)
	f.Mail = workshop.MailStateOf(is.Waiting, is.Latest, f.At).Trouble(f.Zone)
}

// walk reads what only a walk through the register tells.
func (h *Service) walk(f *doctor.Facts) error {
	named := map[string]bool{h.keeper.config.Workshop.Zone: true}
	for o, err := range h.Store.Owners() {
		if err != nil {
			return err
		}
		if o.Zone != "" {
			named[o.Zone] = true
		}
		if o.Email != "" && !loops.Mailable(o.Email) {
			f.Unmailable = append(f.Unmailable, o.ID)
		}
	}
	f.Zones = len(named)
	for name := range named {
		if _, err := loops.LoadZone(name); err != nil {
			f.BadZones = append(f.BadZones, name)
		}
	}
	if fault := zoneFault(); fault != "" {
		f.BadZones = append(f.BadZones, fault)
	}
	slices.Sort(f.BadZones)
	for _, err := range h.Store.Messages(loops.Held) {
		if err != nil {
			return err
		}
		f.Held++
	}
	on := map[loops.Day]int{}
	for x, err := range h.Store.Suppressions() {
		if err != nil {
			return err
		}
		if f.At.Sub(x.Since) > 30*24*time.Hour {
			continue
		}
		day := loops.DayOf(x.Since, f.Zone)
		if on[day]++; on[day] > f.GivenUp {
			f.GivenUp, f.GivenUpOn = on[day], day
		}
	}
	return nil
}

// zoneFault holds the zone data against what has been so since 1996: zone files
// that are cut off or empty load and answer UTC.
func zoneFault() string {
	zone, err := loops.LoadZone("Europe/Lisbon")
	if err != nil {
		return "Europe/Lisbon"
	}
	// Directive 2000/84/EC: summer time ends on the last Sunday of October at 1:00
	// UTC. In 2024 that was the 27th.
	change := time.Date(2024, 10, 27, 1, 0, 0, 0, time.UTC)
	_, before := change.Add(-time.Second).In(zone).Zone()
	_, after := change.In(zone).Zone()
	if before != 3600 || after != 0 {
		return "Europe/Lisbon (summer time)"
	}
	return ""
}

// facts are what the configuration and the disk tell.
func (c Config) facts(now time.Time) doctor.Facts {
	f := doctor.Facts{
		At: now, Zone: c.Zone(), Relay: c.Mail.Transport == "smtp", Trial: c.Mail.Trial, From: c.Mail.From, BaseURL: c.Base(),
		Sender: c.senderFault(), Links: c.linksFault(), WithoutLinks: c.WithoutLinks(), Bounces: c.Mail.BounceMaildir, Disks: c.disks(),
		Backup: doctor.Backup{Folder: c.Backup.Folder, SecondFolder: c.Backup.SecondFolder, Encrypted: c.Backup.Recipient != ""},
	}
	f.Register.Path, f.Register.Database = c.Store, c.InDatabase()
	if c.Mail.IMAP.Address != "" {
		f.Mailbox.Name = c.mailboxName()
	}
	f.Exposed, f.Looked = c.exposed()
	f.Certificate.Own = len(c.OwnCertificate) > 0
	if f.Certificate.There = c.secure(); f.Certificate.There {
		ends, err := c.certificateEnds(now)
		if f.Certificate.Ends = ends; err != nil {
			f.Certificate.Fault = err.Error()
		}
	}
	if c.Mail.BounceMaildir != "" {
		for _, part := range []string{"new", "cur"} {
			if _, err := os.ReadDir(filepath.Join(c.Mail.BounceMaildir, part)); err != nil && f.BouncesFault == "" {
				f.BouncesFault = err.Error()
			}
		}
	}
	return f
}

// lookTime bounds all questions to the DNS of one examination.
const lookTime = 8 * time.Second

// asked adds what takes longer: the files for mail and, where it goes out by a
// relay, what the DNS says.
func (c Config) asked(ctx context.Context, f doctor.Facts) doctor.Facts {
	if err := c.CheckMailFiles(); err != nil {
		f.MailFiles = err.Error()
	}
	if f.Resolver = "The system's DNS resolver"; c.Mail.Resolver != "" {
		f.Resolver = c.Mail.Resolver
	}
	if !f.Relay || f.Trial {
		return f
	}
	records, err := c.Keys().Records(c.MailDomain())
	f.Signed = err == nil // one that cannot be read is told by another line
	sender, err := c.senderRecords()
	if err != nil {
		return f // refused when the configuration was read
	}
	records = append(records, sender...)
	ctx, cancel := context.WithTimeout(ctx, lookTime)
	defer cancel()
	f.Records = notify.CheckRecords(ctx, c.LookupTXT, records)
	return f
}

// LookupTXT asks the configured DNS server for the texts of a name, or this
// computer's resolver.
func (c Config) LookupTXT(ctx context.Context, name string) ([]string, error) {
	if c.Mail.Resolver == "" {
		return net.DefaultResolver.LookupTXT(ctx, name)
	}
	var d net.Dialer
	r := net.Resolver{PreferGo: true, Dial: func(ctx context.Context, network, _ string) (net.Conn, error) {
		return d.DialContext(ctx, network, c.Mail.Resolver)
	}}
	return r.LookupTXT(ctx, name+".") // whole: no search list
}

// spare is what is wanted free beyond what the next write needs: enough for a
// day's work. Common practice, no source.
const spare = 100e6

// disks tells the room where something is written: beside the register for one
// more of it, as compaction makes, and where backups go for one and its trial.
func (c Config) disks() []doctor.Disk {
	size, place := uint64(0), "the register"
	if c.InDatabase() {
		place = "keys, photos and mail" // its own room is the server's to watch
	}
	if info, err := os.Stat(c.Store); err == nil {
		size = uint64(info.Size())
	}
	var all []doctor.Disk
	for _, d := range []doctor.Disk{
		{Place: place, Path: c.Beside(), Need: size + spare},
		{Place: "backups", Path: c.Backup.Folder, Need: 2*size + spare},
		{Place: "second backups", Path: c.Backup.SecondFolder, Need: size + spare},
	} {
		if d.Path == "" {
			continue
		}
		free, told, err := freeRoom(d.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist), err == nil && !told:
			continue // made at the first write, or the line of that folder says it
		case err != nil:
			d.Fault = err.Error()
		}
		d.Free = free
		all = append(all, d)
	}
	return all
}
