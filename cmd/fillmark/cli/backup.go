// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops/store"
)

func (a *app) backupCommand() *cobra.Command {
	var to web.BackupTo
	cmd := &cobra.Command{
		Use:   "backup --to FOLDER",
		Short: "Copy the register with its keys and photos to a new folder, while it is used",
		Long: `Backup copies the register while others write to it, reads the copy back and
checks all of it. The keys that mail is signed with are in it: keep it safe.`,
		Example: `  fillmark backup --to /mnt/usb/fillmark-2026-12-03`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) (err error) {
			if err := a.registerThere(cmd.Context()); err != nil {
				return err
			}
			// The daemon may run in another folder.
			if to.Folder, err = filepath.Abs(to.Folder); err != nil {
				return err
			}
			made, err := during(a, "backing up and checking the copy", func() (web.BackupTo, error) {
				return ask[web.BackupTo](cmd.Context(), a, "POST", "/api/v1/backup", to)
			})
			if err != nil {
				return err
			}
			return a.print(made, func(p *printer) {
				p.line("Backed up to %s, read back and checked.", made.Folder)
				p.line("The way back: fillmark restore %s", made.Folder)
			})
		},
	}
	cmd.Flags().StringVar(&to.Folder, "to", "", "`folder` to write, made new, on the register's computer")
	needFlags(cmd, "to")
	return cmd
}

func (a *app) restoreCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "restore FOLDER",
		Short: "Put a backup where the register belongs; nothing may be there",
		Example: `  fillmark restore /mnt/usb/fillmark-2026-12-03
  fillmark --store look/register.db restore /mnt/usb/fillmark-2026-12-03`,
		Args: oneFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			if err := a.nothingThere(cmd.Context(), c); err != nil {
				return err
			}
			_, err = during(a, "checking and restoring", func() (string, error) {
				return c.Store, daemon.Restore(cmd.Context(), c, args[0])
			})
			if err != nil {
				return err
			}
			return a.print(map[string]string{"register": c.Store}, func(p *printer) {
				p.line("Restored to %s.", c.Store)
			})
		},
	}
}

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use: "check", Short: "Read the whole register and compare everything with everything", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := a.registerThere(cmd.Context()); err != nil {
				return err
			}
			report, err := during(a, "checking", func() (web.CheckReport, error) {
				return ask[web.CheckReport](cmd.Context(), a, "GET", "/api/v1/check", nil)
			})
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
	return store.ErrDamaged
}

func (a *app) compactCommand() *cobra.Command {
	return &cobra.Command{
		Use: "compact", Short: "Rewrite the register without the space that is free in it", Args: noArgs,
		Long: `Compact rewrites the register without the space that is free in it, and removes
photos beside it that no history names and that are older than a day: those of
forms that were given up.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := a.registerThere(cmd.Context()); err != nil {
				return err
			}
			size, err := during(a, "compacting", func() (web.Compacted, error) {
				return ask[web.Compacted](cmd.Context(), a, "POST", "/api/v1/compact", nil)
			})
			if err != nil {
				return err
			}
			return a.print(size, func(p *printer) {
				p.line("Compacted: %d kB before, %d kB now.", (size.Before+1023)/1024, (size.After+1023)/1024)
				if size.Removed > 0 {
					p.line("Removed: %s that no history names.", plural(size.Removed, "photo"))
				}
			})
		},
	}
}
