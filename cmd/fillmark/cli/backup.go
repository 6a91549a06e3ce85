// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/backups"
	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func (a *app) backupCommand() *cobra.Command {
	var to web.BackupTo
	var newKey string
	var list bool
	cmd := &cobra.Command{
		Use:   "backup [--to FOLDER]",
		Short: "Copy the register with its keys and photos, while it is used",
		Long: `Backup copies the register while others write to it, reads the copy back and
checks all of it. The keys that mail is signed with are in it: keep it safe.

With --to it goes to a new folder. Without, it is made now in the way that the
scheduled ones are (backup.folder and backup.cron in the configuration): restored
for trial, compared, copied into the second folder, encrypted where backup.recipient
says to whom; then backups that no rule keeps are deleted.`,
		Example: `  fillmark backup --to /mnt/usb/fillmark-2026-12-03
  fillmark backup
  fillmark backup --list
  fillmark backup --new-key identity.txt`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) (err error) {
			byHand := cmd.Flags().Changed("to")
			if list && newKey != "" || byHand && (list || newKey != "") {
				return &usageError{errors.New("--to, --list and --new-key: one of them at a time is right")}
			}
			if newKey != "" {
				return a.newBackupKey(newKey)
			}
			if list {
				return tell(cmd.Context(), a, "GET", "/api/v1/backups", nil, printBackups)
			}
			if byHand {
				// The daemon may run in another folder.
				if to.Folder, err = filepath.Abs(to.Folder); err != nil {
					return err
				}
			}
			made, err := tend[web.BackedUp](cmd.Context(), a, "backing up and checking the copy", "POST", "/api/v1/backup", to)
			if err != nil {
				return err
			}
			return a.print(made, func(p *printer) { printBackup(p, made) })
		},
	}
	cmd.Flags().StringVar(&to.Folder, "to", "", "`folder` to write, made new, on the register's computer")
	cmd.Flags().BoolVar(&list, "list", false, "list the backups by schedule and when each is rotated out")
	cmd.Flags().StringVar(&newKey, "new-key", "", "make a pair of keys: write the identity that opens backups to this `file`, and print the recipient that encrypts them")
	return cmd
}

// newBackupKey makes what encrypted backups need.
func (a *app) newBackupKey(file string) error {
	recipient, err := backups.NewIdentity(file)
	if err != nil {
		return &usageError{fmt.Errorf("--new-key: %w; a file that is not there yet is right", err)}
	}
	return a.print(map[string]string{"identity_file": file, "recipient": recipient}, func(p *printer) {
		p.line("%s", recipient)
		p.paragraph("", "", "Set it as backup.recipient. What opens the backups is in "+file+": print it or put it on another computer, and remove it from this one. Without it nobody can open a backup.")
	})
}

func printBackup(p *printer, made web.BackedUp) {
	restore := "fillmark restore " + made.Folder
	if strings.HasSuffix(made.Folder, backups.SealedEnding) {
		restore += " --identity FILE"
	}
	p.line("Backed up to %s, read back and checked.", made.Folder)
	if made.Compared > 0 {
		p.line("Restored for trial before: all %s of the export are the same.", plural(made.Compared, "line"))
	}
	if made.Second != "" {
		p.line("Copied to %s, and read back.", made.Second)
	}
	for _, path := range made.Removed {
		p.line("Rotated out: %s", path)
	}
	p.line("The way back: %s", restore)
}

func printBackups(p *printer, all items[web.KeptBackup]) {
	p.line("%s by schedule.", plural(len(all.Items), "backup"))
	p.list([]string{"path", "made", "encrypted", "gone by"}, len(all.Items), func(i int) []string {
		b := all.Items[i]
		gone := "stays"
		if !b.GoneBy.IsZero() {
			gone = b.GoneBy.Long()
		}
		return []string{b.Path, b.Made.Format("2006-01-02 15:04 MST"), yesNo(b.Encrypted), gone}
	})
}

func (a *app) restoreCommand() *cobra.Command {
	var identity string
	cmd := &cobra.Command{
		Use:   "restore FOLDER",
		Short: "Put a backup where the register belongs; nothing may be there",
		Example: `  fillmark restore /mnt/usb/fillmark-2026-12-03
  fillmark restore fillmark-2026-12-03T01-30-00Z.tar.age --identity identity.txt
  fillmark --store look/register.db restore /mnt/usb/fillmark-2026-12-03`,
		Args: exactlyOne("the file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			if c.InDatabase() {
				return &loops.InvalidError{Field: "store", Value: c.Store, Reason: "the path of a file: a backup holds one. A database is brought back with its own tools, or made of an export by fillmark import (doc/operations.md)"}
			}
			if err := a.nothingThere(cmd.Context(), c); err != nil {
				return err
			}
			_, err = during(a, "checking and restoring", func() (string, error) {
				return c.Store, daemon.Restore(cmd.Context(), c, args[0], identity)
			})
			if err != nil {
				return err
			}
			return a.print(map[string]string{"register": c.Store}, func(p *printer) {
				p.line("Restored to %s.", c.Store)
			})
		},
	}
	cmd.Flags().StringVar(&identity, "identity", "", "`file` with the identity of age that opens an encrypted backup")
	return cmd
}

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use: "check", Short: "Read the whole register and check that all of it agrees",
		Example: `  fillmark check`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			report, err := tend[web.CheckReport](cmd.Context(), a, "checking", "GET", "/api/v1/check", nil)
			if err != nil {
				return err
			}
			found := foundBy(report)
			if found != nil && !a.json {
				return fmt.Errorf("%w\n%s", found, strings.Join(slices.Concat(report.Problems, report.Photos), "\n"))
			}
			err = a.print(report, func(p *printer) {
				total := 0
				for _, n := range report.Records {
					total += n
				}
				p.line("The register is sound: %s.", plural(total, "record"))
				if report.Unnamed > 0 {
					p.paragraph("", "", plural(report.Unnamed, "photo")+" beside it that no history names, of forms still open or never sent; fillmark compact removes those older than a day.")
				}
				kinds := slices.Sorted(maps.Keys(report.Records))
				p.table([]string{"kind", "records"}, len(kinds), func(i int) []string {
					return []string{kinds[i], fmt.Sprint(report.Records[kinds[i]])}
				})
			})
			if err == nil {
				err = found
			}
			return err
		},
	}
}

// foundBy is the error that a check's report amounts to; nil for a sound one.
func foundBy(report web.CheckReport) error {
	switch {
	case report.OK:
		return nil
	case len(report.Problems) == 0 && len(report.Photos) > 0:
		return errPhotos
	}
	return loops.ErrDamaged
}

func (a *app) compactCommand() *cobra.Command {
	return &cobra.Command{
		Use: "compact", Short: "Rewrite the register without its free space",
		Example: `  fillmark compact`,
		Args:    noArgs,
		Long: `Compact rewrites the register without its free space, and removes photos beside it
that no history names and that are older than a day: those of forms that were
never sent.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			size, err := tend[web.Compacted](cmd.Context(), a, "compacting", "POST", "/api/v1/compact", nil)
			if err != nil {
				return err
			}
			return a.print(size, func(p *printer) {
				if size.Before > 0 {
					p.line("Compacted: %d kB before, %d kB now.", (size.Before+1023)/1024, (size.After+1023)/1024)
				} else {
					p.line("The register's database makes room by itself.")
				}
				if size.Removed > 0 {
					p.line("Removed: %s that no history names.", plural(size.Removed, "photo"))
				}
			})
		},
	}
}
