// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/loops/store"
)

// keepCommands look after the register as a whole.
func (a *app) keepCommands() []*cobra.Command {
	return []*cobra.Command{
		a.exportCommand(), a.importCommand(), a.backupCommand(), a.restoreCommand(), a.checkCommand(), a.compactCommand(),
	}
}

func (a *app) exportCommand() *cobra.Command {
	var to, photosTo string
	var table workshop.TableName
	cmd := &cobra.Command{
		Use:   "export [--table TABLE] [--to FILE] [--photos FOLDER]",
		Short: "Write the whole register as JSON Lines, or one list as CSV",
		Long: `Export writes every record as JSON Lines, from which import makes the same
register again, byte for byte in its own export. Photos go as files into the
folder photos beside FILE; one that is there already is kept. Keys and passwords
are not in it: an import knows the technicians by name, and technician passwd
sets each a password again. With --table it writes one list as CSV for a
spreadsheet.`,
		Example: `  fillmark export --to register.jsonl
  fillmark export --table owners > owners.csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if table != "" && photosTo != "" {
				return &usageError{errors.New("--photos: goes with the whole register; a table has no photos")}
			}
			if err := a.registerThere(cmd.Context()); err != nil {
				return err
			}
			if table != "" {
				return a.export(cmd.Context(), "/api/v1/tables/"+string(table), to)
			}
			if err := a.export(cmd.Context(), "/api/v1/export", to); err != nil {
				return err
			}
			return a.exportPhotos(cmd.Context(), "/api/v1/photos", photosBeside(photosTo, to))
		},
	}
	f := cmd.Flags()
	f.StringVar(&photosTo, "photos", "", "`folder` for the photos (default photos beside the file)")
	f.StringVar(&to, "to", "", "`file` to write, which must not be there yet (default standard output)")
	need(f, &table, choice("table", workshop.TableNames()), "table", "TABLE", "owners, machines, loops or containers")
	return cmd
}

// export downloads to a new file, or to standard output where none is named.
// A file that could not be written whole is removed again.
func (a *app) export(ctx context.Context, path, to string) error {
	if to == "" {
		return a.download(ctx, path, a.out)
	}
	file, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return &usageError{fmt.Errorf("--to: %w; a file that is not there yet is right", err)}
	}
	_, err = during(a, "exporting", func() (string, error) {
		return to, errors.Join(a.download(ctx, path, file), file.Sync(), file.Close())
	})
	if err != nil {
		return errors.Join(err, os.Remove(to))
	}
	return nil
}

func (a *app) importCommand() *cobra.Command {
	var table workshop.TableName
	var photosFrom string
	var dryRun bool
	cmd := &cobra.Command{
		Use:   "import FILE [--table TABLE] [--photos FOLDER] [--dry-run]",
		Short: "Make a register of a JSON Lines export, or add the rows of a CSV list",
		Long: `Without --table, import makes a new register of an export; nothing may be
where the register goes. Its photos come from the folder photos beside FILE, or
from the one that is named. With --table it adds the rows of a CSV list to the
register: all of them in one change, or none. Every bad row is reported by line
and column before anything is written. Commas, semicolons and tabs, a byte order
mark and CRLF are all read. FILE - is standard input.`,
		Example: `  fillmark import owners.csv --table owners --dry-run
  fillmark --store new.db import register.jsonl`,
		Args: oneFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			if table != "" && photosFrom != "" {
				return &usageError{errors.New("--photos: goes with the whole register; a table has no photos")}
			}
			in, err := a.open(args[0])
			if err != nil {
				return err
			}
			if table == "" {
				beside := args[0]
				if beside == "-" {
					beside = ""
				}
				return errors.Join(a.importRegister(cmd.Context(), in, photosBeside(photosFrom, beside), dryRun), in.Close())
			}
			return errors.Join(a.importTable(cmd.Context(), in, table, dryRun), in.Close())
		},
	}
	f := cmd.Flags()
	need(f, &table, choice("table", workshop.TableNames()), "table", "TABLE", "owners, machines, loops or containers")
	f.StringVar(&photosFrom, "photos", "", "`folder` with the photos (default photos beside the file)")
	f.BoolVar(&dryRun, "dry-run", false, "find what is wrong and write nothing")
	return cmd
}

func oneFile(_ *cobra.Command, args []string) error {
	if len(args) != 1 {
		return &usageError{fmt.Errorf("%d arguments given; one is right: the file", len(args))}
	}
	return nil
}

func (a *app) open(name string) (io.ReadCloser, error) {
	if name == "-" {
		return io.NopCloser(a.in), nil
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, &usageError{err}
	}
	return file, nil
}

func (a *app) importTable(ctx context.Context, in io.Reader, table workshop.TableName, dryRun bool) error {
	c, err := a.config()
	if err != nil {
		return err
	}
	if _, err := os.Lstat(c.Store); dryRun && errors.Is(err, fs.ErrNotExist) {
		// A register that is not there is as good as an empty one, and is not made.
		folder, err := os.MkdirTemp("", "fillmark-import-*")
		if err != nil {
			return err
		}
		defer func() { _ = os.RemoveAll(folder) }() // a temporary folder
		c.Store = filepath.Join(folder, "register.db")
	}
	imported, err := during(a, "importing", func() (imported workshop.Imported, err error) {
		err = a.withRegister(ctx, c, func(c *client) (err error) {
			path := fmt.Sprintf("/api/v1/tables/%s?dry_run=%t", table, dryRun)
			imported, err = decoded[workshop.Imported](c.send(ctx, "POST", path, content{"text/csv", in}))
			return err
		})
		return imported, err
	})
	if err != nil {
		return err
	}
	return a.print(imported, func(p *printer) {
		if imported.Written {
			p.line("%s added to the %s.", plural(imported.Rows, "row"), table)
		} else {
			p.line("%s of %s can be added; nothing is written (--dry-run).", plural(imported.Rows, "row"), table)
		}
		if len(imported.Ignored) > 0 {
			p.line("Not imported, since the register gives them: %s.", strings.Join(imported.Ignored, ", "))
		}
		for _, tag := range imported.Tags {
			p.line("  %s", tag)
		}
	})
}

// importRegister makes a register where the configuration has it. A dry run
// makes it in a folder of its own and removes it again.
func (a *app) importRegister(ctx context.Context, in io.Reader, from photos.Folder, dryRun bool) error {
	c, err := a.config()
	if err != nil {
		return err
	}
	to, photosTo := c.Store, photos.Folder(filepath.Join(filepath.Dir(c.Store), backupPhotos))
	if dryRun {
		folder, err := os.MkdirTemp("", "fillmark-import-*")
		if err != nil {
			return err
		}
		defer func() { _ = os.RemoveAll(folder) }() // a temporary folder
		to = filepath.Join(folder, "register.db")
	} else if err := a.nothingThere(ctx, c); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return fmt.Errorf("folder of the register: %w", err)
	}
	brought, err := during(a, "importing", func() (broughtPhotos, error) {
		if err := store.Import(ctx, to, in); err != nil {
			return broughtPhotos{}, err
		}
		brought, err := bringPhotos(ctx, to, from, photosTo, dryRun)
		if err != nil {
			return brought, errors.Join(err, os.Remove(to)) // only what was made here
		}
		return brought, nil
	})
	if err != nil {
		return err
	}
	if n := len(brought.Lost); n > 0 {
		fmt.Fprintf(a.errOut, "fillmark: %s of %d not found whole in %q. Put them into %s; fillmark check names those that lack.\n", plural(n, "photo"), n+brought.There, string(from), photosTo)
	}
	return a.print(map[string]any{"register": c.Store, "written": !dryRun, "photos": brought.There, "photos_lost": brought.Lost}, func(p *printer) {
		if dryRun {
			p.line("A register can be made of it; nothing is written (--dry-run).")
			return
		}
		p.line("The register is made: %s. It has no keys of its own yet: they come with a restore, or new.", c.Store)
		if brought.There > 0 {
			p.line("With it are %s.", plural(brought.There, "photo"))
		}
	})
}

// registerThere refuses where there is no register yet and no daemon runs:
// what looks after a register would make an empty one and find it sound.
func (a *app) registerThere(ctx context.Context) error {
	c, err := a.config()
	if err != nil {
		return err
	}
	if _, err := os.Lstat(c.Store); !errors.Is(err, fs.ErrNotExist) || a.daemonRuns(ctx, c) {
		return nil // what else is wrong with it says who opens it
	}
	return noRegister(c)
}

// daemonRuns tells that somebody answers on the socket beside the register.
func (a *app) daemonRuns(ctx context.Context, c config) bool {
	var d net.Dialer
	conn, err := d.DialContext(ctx, "unix", c.socket())
	if err != nil {
		return false
	}
	_ = conn.Close() // only asked whether somebody answers
	return true
}

// nothingThere refuses where a daemon runs or a register is already.
func (a *app) nothingThere(ctx context.Context, c config) error {
	if a.daemonRuns(ctx, c) {
		return fmt.Errorf("%w: the daemon runs; stop it first", store.ErrInUse)
	}
	if _, err := os.Lstat(c.Store); err == nil {
		return &loops.InvalidError{Field: "store", Value: c.Store, Reason: "nothing there yet: nothing is ever overwritten, so move it aside or name another with --store"}
	}
	return nil
}

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
	cmd.Flags().StringVar(&to.Folder, "to", "", "`folder` to make, on the register's computer")
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
				return c.Store, restoreFolder(cmd.Context(), c, args[0])
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
