// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package doctor_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/loops"
	"fillmark/notify"
)

var noon = time.Date(2026, 12, 3, 12, 0, 0, 0, time.UTC)

// healthy is a house in which every check applies and nothing is wrong.
func healthy() doctor.Facts {
	f := doctor.Facts{At: noon, Zone: time.UTC, Daemon: true, Newest: noon.Add(-time.Hour), Looked: 5, Zones: 2,
		Relay: true, Signed: true, From: "bench@workshop.example", BaseURL: "https://loops.workshop.example",
		Disks:    []doctor.Disk{{Place: "the register", Path: "/data", Free: 5e9, Need: 1e8}, {Place: "backups", Path: "/backups", Free: 50e9, Need: 1e8}},
		Resolver: "the system's resolver", Bounces: "/mail/bounces"}
	f.Register.Path = "/data/register.db"
	f.Certificate.There, f.Certificate.Ends, f.Certificate.Served = true, noon.AddDate(0, 2, 0), noon.AddDate(0, 2, 0)
	for _, kind := range []notify.RecordKind{notify.RecordDKIM, notify.RecordSPF, notify.RecordDMARC} {
		f.Records = append(f.Records, notify.CheckedRecord{Record: notify.Record{Kind: kind, Name: string(kind) + ".workshop.example"}, State: notify.RecordThere})
	}
	f.Canary.Set, f.Canary.Last = true, noon.Add(-20*time.Hour)
	f.Mailbox.Name, f.Mailbox.Asked = "INBOX at mail.workshop.example", true
	made := noon.Add(-10 * time.Hour)
	f.Backup = doctor.Backup{Folder: "/backups", SecondFolder: "/usb", Due: noon.Add(14 * time.Hour),
		Backups: loops.Backups{Made: made, Where: "/backups/a", Drilled: made, Lines: 40, Second: made, Tried: made}}
	return f
}

// inState lists the checks in a state, in order.
func inState(r doctor.Report, s doctor.State) []string {
	names := []string{}
	for _, l := range r.Lines {
		if l.State == s {
			names = append(names, l.Check)
		}
	}
	return names
}

// Each fault turns its own line red and no other; what follows from it says so.
func TestEachFaultTurnsItsOwnLine(t *testing.T) {
	t.Parallel()
	whole := doctor.Examine(healthy())
	assert.True(t, whole.OK)
	assert.Empty(t, inState(whole, doctor.NotHere))
	assert.Len(t, inState(whole, doctor.Good), len(whole.Lines))
	tried := map[string]bool{}
	for _, tt := range []struct {
		name, red string
		spoil     func(*doctor.Facts)
		follows   []string
		says      string
	}{
		{"damaged", "register", func(f *doctor.Facts) { f.Register.Fault, f.Sweep = "checksum", "checksum" },
			[]string{"register file", "clock", "zone data", "sweep", "mail", "held letters", "addresses given up", "owners' addresses", "canary", "restore drill", "backup", "second backup"}, "checksum"},
		{"database away", "register", func(f *doctor.Facts) {
			f.Register.Database, f.Register.Away = true, true
			f.Register.Fault, f.Sweep = "refused", "refused"
		}, []string{"clock", "zone data", "sweep", "mail", "held letters", "addresses given up", "owners' addresses", "canary", "second backup"}, "database does not answer: refused"},
		{"database damaged", "register", func(f *doctor.Facts) { f.Register.Database, f.Register.Fault, f.Sweep = true, "checksum", "checksum" },
			[]string{"clock", "zone data", "sweep", "mail", "held letters", "addresses given up", "owners' addresses", "canary", "second backup"}, "checksum"},
		{"removed under the daemon", "register file", func(f *doctor.Facts) { f.Register.Moved, f.Backup.DrillFault = "it was removed", "no such file" }, []string{"restore drill"}, "removed"},
		{"no daemon", "daemon", func(f *doctor.Facts) {
			f.Daemon, f.Sweep, f.Mail = false, "no daemon", "No mail leaves."
			f.Backup.Due, f.Canary.Fault = noon.AddDate(0, 0, -3), "It has not come back."
		}, []string{"sweep", "mail", "canary", "backup"}, "No daemon"},
		{"clock went back", "clock", func(f *doctor.Facts) {
			f.Newest = noon.AddDate(0, 0, 3)
			f.Backup.Made = f.Newest
			f.Backup.Second = f.Newest
		}, []string{"backup"}, "Sun 6 Dec 2026"},
		{"full disk", "disk", func(f *doctor.Facts) {
			f.Disks[1].Free, f.Backup.Fault, f.Sweep = 5e6, "no space left", "no space left"
		}, []string{"sweep", "backup"}, "5 MB free, 100 MB needed"},
		{"nothing left for the register", "disk", func(f *doctor.Facts) { f.Full, f.Sweep = "no space left", "no space left" }, []string{"sweep"}, "Nothing can be recorded: no space left."},
		{"open key", "permissions", func(f *doctor.Facts) {
			f.Exposed, f.MailFiles = []doctor.Exposed{{"links.key: mode 0644", "chmod 600"}}, "mode 0644"
		}, []string{"mail files"}, "0644"},
		{"read-only medium", "permissions", func(f *doctor.Facts) { f.Register.ReadOnly = true }, nil, "cannot be written"},
		{"unknown zone", "zone data", func(f *doctor.Facts) { f.BadZones = []string{"Mars/Olympus"} }, nil, "Mars"},
		{"example sender", "sender", func(f *doctor.Facts) {
			f.Sender, f.Mail = "example", "No mail leaves."
			f.Records[0].State, f.Records[1].State, f.Records[2].State = notify.RecordMissing, notify.RecordMissing, notify.RecordMissing
		}, []string{"DKIM", "SPF", "DMARC", "mail"}, "mail.from"},
		{"loopback links", "links", func(f *doctor.Facts) { f.Links = "loopback" }, nil, "base_url"},
		{"password gone", "mail files", func(f *doctor.Facts) { f.MailFiles, f.Mail = "no such file", "No mail leaves." }, []string{"mail"}, "no such file"},
		{"certificate ends", "certificate", func(f *doctor.Facts) { f.Certificate.Ends = noon.AddDate(0, 0, 13) }, nil, "in 13 days"},
		{"certificate ended", "certificate", func(f *doctor.Facts) { f.Certificate.Ends = noon.Add(-time.Hour) }, nil, "ended"},
		{"certificate unread", "certificate", func(f *doctor.Facts) { f.Certificate.Fault = "no PEM" }, nil, "no PEM"},
		{"authority ends", "certificate", func(f *doctor.Facts) { f.Certificate.Own, f.Certificate.Ends = true, noon.AddDate(0, 0, 179) }, nil, "choose a day"},
		{"authority ended", "certificate", func(f *doctor.Facts) { f.Certificate.Own, f.Certificate.Ends = true, noon.Add(-time.Hour) }, nil, "phones refuse"},
		{"renewed, not read", "certificate", func(f *doctor.Facts) { f.Certificate.Served = noon.AddDate(0, 0, 2) }, nil, "still shows"},
		{"no DNS", "resolver", func(f *doctor.Facts) {
			for i := range f.Records {
				f.Records[i].State, f.Records[i].Found = notify.RecordUnknown, "timeout"
			}
		}, []string{"DKIM", "SPF", "DMARC"}, "timeout"},
		{"no key", "DKIM", func(f *doctor.Facts) { f.Signed = false }, nil, "not signed"},
		{"DKIM differs", "DKIM", func(f *doctor.Facts) { f.Records[0].State, f.Records[0].Found = notify.RecordDiffers, "v=DKIM1; p=old" }, nil, "p=old"},
		{"no SPF", "SPF", func(f *doctor.Facts) { f.Records[1].State = notify.RecordMissing }, nil, "not published"},
		{"SPF not answered", "SPF", func(f *doctor.Facts) { f.Records[1].State, f.Records[1].Found = notify.RecordUnknown, "servfail" }, nil, "servfail"},
		{"no DMARC", "DMARC", func(f *doctor.Facts) { f.Records[2].State = notify.RecordMissing }, nil, "not published"},
		{"sweeps late", "sweep", func(f *doctor.Facts) { f.Sweep = "the last sweep was 3h ago" }, nil, "3h"},
		{"dead relay", "mail", func(f *doctor.Facts) { f.Mail, f.Canary.Fault = "No mail leaves since …", "It has not come back." }, []string{"canary"}, "since"},
		{"held", "held letters", func(f *doctor.Facts) { f.Held = 2 }, nil, "2 letters are held"},
		{"300 given up", "addresses given up", func(f *doctor.Facts) { f.GivenUp, f.GivenUpOn = 300, loops.DayOf(noon.AddDate(0, 0, -2), time.UTC) }, nil, "300 addresses"},
		{"accents", "owners' addresses", func(f *doctor.Facts) { f.Unmailable = []loops.OwnerID{7, 9} }, nil, "7 9"},
		{"bounces unread", "bounces", func(f *doctor.Facts) { f.BouncesFault, f.Canary.Fault = "permission denied", "It has not come back." }, []string{"canary"}, "permission"},
		{"mailbox shut", "mailbox", func(f *doctor.Facts) { f.Mailbox.Fault = "login: no" }, nil, "INBOX at mail.workshop.example cannot be read: login: no"},
		{"mailbox shut, so nothing comes back", "mailbox", func(f *doctor.Facts) { f.Mailbox.Fault, f.Canary.Fault = "login: no", "It has not come back." }, []string{"canary"}, "login: no"},
		{"canary late", "canary", func(f *doctor.Facts) { f.Canary.Fault = "The letter of Wed 2 Dec 2026 has not come back." }, nil, "Wed 2 Dec"},
		{"drill failed", "restore drill", func(f *doctor.Facts) { f.Backup.DrillFault, f.Backup.Due = "export differs", noon.AddDate(0, 0, -1) }, []string{"backup"}, "export differs"},
		{"backup failed", "backup", func(f *doctor.Facts) { f.Backup.Fault, f.Backup.Second = "permission denied", noon.AddDate(0, 0, -2) }, []string{"second backup"}, "permission denied"},
		{"backup late", "backup", func(f *doctor.Facts) { f.Backup.Due = noon.Add(-7 * time.Hour) }, nil, "was due"},
		{"never backed up", "backup", func(f *doctor.Facts) { f.Backup.Backups, f.Backup.SecondFolder = loops.Backups{}, "" }, nil, "No backup"},
		{"second away", "second backup", func(f *doctor.Facts) { f.Backup.SecondFault = "no such folder" }, nil, "no such folder"},
	} {
		f := healthy()
		tt.spoil(&f)
		r := doctor.Examine(f)
		assert.False(t, r.OK, tt.name)
		assert.Equal(t, []string{tt.red}, inState(r, doctor.Red), tt.name)
		if tt.follows == nil {
			tt.follows = []string{}
		}
		assert.Equal(t, tt.follows, inState(r, doctor.Follows), tt.name)
		line := r.Line(tt.red)
		assert.Contains(t, line.Says, tt.says, tt.name)
		assert.NotEmpty(t, line.Do, "%s: what is to be done", tt.name)
		for _, l := range r.Lines {
			assert.Equal(t, l.State == doctor.Follows, len(l.From) > 0, "%s: %s", tt.name, l.Check)
		}
		tried[tt.red] = true
	}
	for _, l := range whole.Lines {
		assert.True(t, tried[l.Check], "%s has no fault that turns it red here", l.Check)
	}
}

// What a house does not have is no fault.
func TestWhatDoesNotApply(t *testing.T) {
	t.Parallel()
	f := doctor.Facts{At: noon, Zone: time.UTC, Daemon: true}
	r := doctor.Examine(f)
	assert.True(t, r.OK, inState(r, doctor.Red))
	for _, name := range []string{"disk", "permissions", "sender", "links", "certificate", "resolver", "DKIM", "SPF", "DMARC", "bounces", "mailbox", "canary", "restore drill", "backup", "second backup"} {
		assert.Equal(t, doctor.NotHere, r.Line(name).State, name)
	}
	f.Relay, f.Trial, f.Sender, f.Links = true, true, "example", "loopback"
	assert.True(t, doctor.Examine(f).OK, "a trial reaches nobody")
	f.Register.Missing = true
	assert.True(t, doctor.Examine(f).OK, "nothing is on record yet")
}

// Renewing is no advice for an authority that phones trust by hand.
func TestWhatToDoBeforeTheOwnAuthorityEnds(t *testing.T) {
	t.Parallel()
	f := healthy()
	f.Certificate.Own, f.Certificate.Ends = true, noon.AddDate(0, 0, 100)
	line := doctor.Examine(f).Line("certificate")
	assert.Equal(t, doctor.Red, line.State)
	assert.Contains(t, line.Do, "authority/authority.pem, beside the register,")
	assert.Contains(t, line.Do, "show each phone the new one")
	assert.NotContains(t, line.Do, "Renew")
	f.Register.Database = true
	assert.Contains(t, doctor.Examine(f).Line("certificate").Do, "authority/authority.pem, in the register's folder,")
	f.Certificate.Ends, f.Certificate.Served = noon.AddDate(9, 0, 0), noon.AddDate(0, 0, 3)
	assert.Equal(t, doctor.Good, doctor.Examine(f).Line("certificate").State, "what the pages show renews itself")
}

// The bounds count on both of their sides.
func TestBounds(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		check  string
		inside func(*doctor.Facts)
	}{
		{"clock", func(f *doctor.Facts) { f.Newest = noon.Add(2 * time.Minute) }},
		{"disk", func(f *doctor.Facts) { f.Disks[0].Free = f.Disks[0].Need }},
		{"certificate", func(f *doctor.Facts) { f.Certificate.Ends = noon.AddDate(0, 0, 14) }},
		{"certificate", func(f *doctor.Facts) { f.Certificate.Own, f.Certificate.Ends = true, noon.AddDate(0, 0, 180) }},
		{"addresses given up", func(f *doctor.Facts) { f.GivenUp = 9 }},
		{"backup", func(f *doctor.Facts) { f.Backup.Due = noon.Add(-6 * time.Hour) }},
	} {
		f := healthy()
		tt.inside(&f)
		assert.Equal(t, doctor.Good, doctor.Examine(f).Line(tt.check).State, tt.check)
	}
}

// The quick look is a part of the whole one, and asks neither the DNS nor the
// whole register.
func TestQuickIsAPart(t *testing.T) {
	t.Parallel()
	f := healthy()
	f.Sweep, f.Records = "late", nil
	whole, quick := doctor.Examine(f), doctor.Quick(f)
	assert.Less(t, len(quick.Lines), len(whole.Lines))
	for _, l := range quick.Lines {
		assert.Equal(t, whole.Line(l.Check), l)
	}
	for _, name := range []string{"resolver", "DKIM", "SPF", "DMARC", "zone data", "held letters", "owners' addresses"} {
		assert.Empty(t, quick.Line(name).Check, name)
	}
}

// What is told on the pages of the day are faults of the house that no other
// banner tells.
func TestTold(t *testing.T) {
	t.Parallel()
	f := healthy()
	f.Mail, f.Sweep, f.Backup.SecondFault = "No mail leaves.", "late", "gone"
	f.Disks[0].Free, f.Backup.Fault, f.Register.Moved = 1, "no space", "it was removed"
	var names []string
	for _, l := range doctor.Quick(f).Told() {
		names = append(names, l.Check)
	}
	assert.Equal(t, []string{"disk", "backup", "second backup"}, names)
	assert.Empty(t, doctor.Quick(healthy()).Told())
	assert.True(t, slices.ContainsFunc(doctor.Quick(f).Lines, func(l doctor.Line) bool { return l.Check == "mail" && l.State != doctor.Good }))
	f = healthy()
	f.Certificate.Ends, f.Exposed, f.Mailbox.Fault = noon.AddDate(0, 0, 13), []doctor.Exposed{{"links.key: mode 0644", "chmod 600"}}, "login: no"
	f.Held, f.Canary.Fault, f.Records[0].State = 2, "It has not come back.", notify.RecordMissing
	names = nil
	for _, l := range doctor.Examine(f).Told() {
		names = append(names, l.Check)
	}
	assert.Equal(t, []string{"permissions", "DKIM", "held letters"}, names, "the certificate follows; mailbox and canary are alarms of their own")
}
