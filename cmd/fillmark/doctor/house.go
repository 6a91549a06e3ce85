// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package doctor

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
)

// instant writes a time as people read it, in the workshop's zone.
func (f Facts) instant(t time.Time) string {
	return t.In(f.Zone).Format("Mon 2 Jan 2006 15:04 MST")
}

func register(f Facts) Line {
	switch {
	case f.Register.Missing:
		return notHere("There is no register at " + f.Register.Path + " yet; the first record makes one.")
	case f.Register.Away:
		return red("The register's database does not answer: "+f.Register.Fault+".", "Look whether it runs and can be reached from here. Nothing is lost: the program waits, and goes on by itself once it answers.")
	case f.Register.Fault != "" && f.Register.Database:
		return red("The register cannot be read: "+f.Register.Fault+".", "Look into the database's own log, and bring back its newest backup with its own tools where rows are damaged (doc/operations.md).")
	case f.Register.Fault != "":
		return red("The register cannot be read: "+f.Register.Fault+".", "Stop the daemon, move the register and the folders keys and photos beside it aside, and put the newest backup there with fillmark restore.")
	}
	return good(f.Register.Path + " can be read.")
}

func registerFile(f Facts) Line {
	switch {
	case f.Register.Missing:
		return notHere("There is none yet.")
	case f.Register.Database:
		return notHere("The register is in a database; there is no file to check.")
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case f.Register.Moved != "":
		return red("Nothing can be recorded: "+f.Register.Moved+".",
			"Copy what is still there with fillmark backup --to FOLDER, stop the program, move aside what is left beside the register, "+
				"bring all back with fillmark restore FOLDER, and start it again.")
	}
	return good("The file of that name is the one that is open.")
}

func daemon(f Facts) Line {
	if f.Daemon && f.Leads != "" {
		return good("The daemon runs; of several on this register another one leads, which sweeps, reads mail and tells alarms: " + f.Leads + ".")
	}
	if f.Daemon {
		return good("The daemon runs.")
	}
	return red("No daemon runs: nothing is swept, mailed or backed up.", "Start fillmark serve, as a service.")
}

// clockSlack is what clocks are set back by in everyday use. Common practice, no
// source.
const clockSlack = 2 * time.Minute

func clock(f Facts) Line {
	switch {
	case f.Register.Missing:
		return notHere("Nothing is on record to hold the clock against.")
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case f.Newest.Sub(f.At) > clockSlack:
		return red(fmt.Sprintf("It is %s, and something on record is of %s: the clock went back, or was ahead then.", f.instant(f.At), f.instant(f.Newest)),
			"Set the clock, and let the system keep it (NTP). Where it is right now, what was recorded while it was ahead bears wrong days: fillmark loop show --history shows them.")
	}
	return good("It is " + f.instant(f.At) + ", and nothing on record is later.")
}

func disk(f Facts) Line {
	var full []string
	least := Disk{}
	for i, d := range f.Disks {
		switch {
		case d.Fault != "":
			full = append(full, d.Place+": "+d.Fault)
		case d.Free < d.Need:
			full = append(full, fmt.Sprintf("%s (%s): %s free, %s needed", d.Place, d.Path, bytes(d.Free), bytes(d.Need)))
		}
		if i == 0 || d.Free < least.Free {
			least = d
		}
	}
	switch {
	case f.Full != "":
		return red(strings.Join(append([]string{"Nothing can be recorded: " + f.Full}, full...), ". ")+".",
			"Make room on the disk of the register; it then goes on by itself.")
	case len(f.Disks) == 0:
		return notHere("This system does not say how much room there is.")
	case len(full) > 0:
		return red("Too little room. "+strings.Join(full, ". ")+".", "Make room, or move what is there to a larger disk.")
	}
	return good(fmt.Sprintf("%s free at the least (%s).", bytes(least.Free), least.Place))
}

// bytes writes a size in the unit that is read easily.
func bytes(n uint64) string {
	if n < 10e9 {
		return fmt.Sprintf("%d MB", n/1e6)
	}
	return fmt.Sprintf("%d GB", n/1e9)
}

func permissions(f Facts) Line {
	if f.Looked == 0 {
		return notHere("This system has no file modes; keep the register in a folder of its user's.")
	}
	if f.Register.ReadOnly {
		f.Exposed = append(slices.Clone(f.Exposed), Exposed{f.Register.Path + " cannot be written to", "Make the medium writable, or move the register"})
	}
	if len(f.Exposed) > 0 {
		var says, do []string
		for _, e := range f.Exposed {
			says = append(says, e.Fault)
			if !slices.Contains(do, e.Do) {
				do = append(do, e.Do)
			}
		}
		return red(strings.Join(says, ". ")+".", strings.Join(do, ". ")+".")
	}
	return good(fmt.Sprintf("%d files and folders are for their user alone.", f.Looked))
}

func zones(f Facts) Line {
	switch {
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case len(f.BadZones) > 0:
		return red("Time zones that this computer does not know, or knows wrongly: "+strings.Join(f.BadZones, ", ")+". Due days there count in the workshop's zone.",
			"Install or update the system's zone data (tzdata), or change the zone of the owners.")
	}
	return good(counted(f.Zones, "time zone on record is", "time zones on record are") + " known here.")
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// daysLeft is from when on a certificate that ends is told: most are renewed a
// month before. Common practice, no source.
const daysLeft = 14

// authorityLeft is the same for the workshop's own authority: each phone is to be
// told of another one by hand, and they come one by one. Common practice, no source.
const authorityLeft = 180

// ownAuthority says how long phones will trust the pages.
func ownAuthority(f Facts) Line {
	c := f.Certificate
	beside := "beside the register"
	if f.Register.Database {
		beside = "in the register's folder"
	}
	another := "Move authority/authority.pem, " + beside + ", away and start the daemon again: it makes another authority. Then show each phone the new one, by the steps of More, Phones; a phone that was not told finds the pages refused from then on."
	days := int(c.Ends.Sub(f.At).Hours() / 24)
	switch {
	case !c.Ends.After(f.At):
		return red("The workshop's own authority ended on "+f.instant(c.Ends)+": phones refuse the pages.", another)
	case days < authorityLeft:
		return red(fmt.Sprintf("The workshop's own authority ends on %s, in %s: choose a day on which the phones are here.", f.instant(c.Ends), counted(days, "day", "days")), another)
	}
	return good(fmt.Sprintf("Phones can trust the workshop's own authority for %s, until %s.", counted(days, "day", "days"), loops.DayOf(c.Ends, f.Zone).Long()))
}

func certificate(f Facts) Line {
	c := f.Certificate
	if !c.There {
		return notHere("The pages have no certificate (own_certificate or tls_cert).")
	}
	renew := "Renew it, then start the daemon again: it is read at the start."
	days := func(t time.Time) int { return int(t.Sub(f.At).Hours() / 24) }
	switch {
	case c.Fault != "":
		return red("The certificate cannot be used: "+c.Fault+".", "Put that right, then start the daemon again.")
	case c.Ends.IsZero():
		return notHere("The workshop's own authority is made at the next start.")
	case c.Own:
		return ownAuthority(f)
	case !c.Ends.After(f.At):
		return red("The certificate ended on "+f.instant(c.Ends)+": browsers refuse the pages.", renew)
	case days(c.Ends) < daysLeft:
		return red(fmt.Sprintf("The certificate ends on %s, in %s.", f.instant(c.Ends), counted(days(c.Ends), "day", "days")), renew)
	case !c.Served.IsZero() && days(c.Served) < daysLeft:
		return red(fmt.Sprintf("The certificate in the file is good until %s, but the daemon still shows the one before, until %s.", f.instant(c.Ends), f.instant(c.Served)), "Start the daemon again.")
	}
	return good(fmt.Sprintf("The certificate is good for %s, until %s.", counted(days(c.Ends), "day", "days"), loops.DayOf(c.Ends, f.Zone).Long()))
}

// late is how long after its time a backup is told. Common practice, no source.
const late = 6 * time.Hour

// backupOff says that there is no schedule; empty where there is.
func backupOff(f Facts) string {
	if f.Register.Database {
		return "The register is in a database, which its own tools back up, with the folder of keys and photos beside it."
	}
	if f.Backup.Folder == "" {
		return "No backups by schedule: backup.folder is not set. What is not backed up is lost with its disk."
	}
	return ""
}

func drill(f Facts) Line {
	b := f.Backup
	switch off := backupOff(f); {
	case off != "":
		return notHere(off)
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case b.DrillFault != "":
		return red("The backup of "+f.instant(b.Tried)+" could not be restored as it was made: "+b.DrillFault+". It was not kept.", "Run fillmark check: where the register is sound, the disk of the backups is suspect; use another, and run fillmark backup.")
	case b.Drilled.IsZero():
		return notHere("No backup was restored for trial yet.")
	}
	says := fmt.Sprintf("The backup of %s was restored, checked and compared: %d lines of its export are the same.", f.instant(b.Drilled), b.Lines)
	if b.Encrypted {
		says += " That was before it was encrypted: nobody here can open the file, so try it now and then where its identity is."
	}
	return good(says)
}

func backup(f Facts) Line {
	b := f.Backup
	look := "Run fillmark backup and read what it says."
	switch off := backupOff(f); {
	case off != "":
		return notHere(off)
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case b.Fault != "":
		return red("The backup of "+f.instant(b.Tried)+" failed: "+b.Fault+". "+b.since(f), look)
	case b.Made.IsZero():
		return red("No backup was made yet.", "The daemon makes the first at once; without it, run fillmark backup.")
	case b.Due.IsZero() || f.At.Sub(b.Due) > late:
		return red("The last backup is of "+f.instant(b.Made)+"; the next was due "+f.instant(b.Due)+".", look)
	case b.Made.Sub(f.At) > clockSlack:
		return red("The last backup is of "+f.instant(b.Made)+", which is still to come.", look)
	}
	return good("The last backup is of " + f.instant(b.Made) + ", in " + b.Where + ".")
}

// since says which backup is the last.
func (b Backup) since(f Facts) string {
	if b.Made.IsZero() {
		return "There is none before it."
	}
	return "The last good one is of " + f.instant(b.Made) + "."
}

func secondBackup(f Facts) Line {
	b := f.Backup
	switch {
	case b.Folder == "" || b.SecondFolder == "":
		return notHere("No second folder is set (backup.second_folder).")
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case b.SecondFault != "":
		return red("The last backup did not reach the second folder: "+b.SecondFault+".", "See that "+b.SecondFolder+" is there and can be written to, then run fillmark backup.")
	case b.Second.Before(b.Made) || b.Second.IsZero():
		return red("The last backup is not in the second folder.", "Run fillmark backup and read what it says.")
	}
	return good("The last backup is in " + b.SecondFolder + " too.")
}
