// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/loops/store"
)

// wholeCommands look after the register as a whole.
func (a *app) wholeCommands() []*cobra.Command {
	return []*cobra.Command{
		a.exportCommand(), a.importCommand(), a.backupCommand(), a.restoreCommand(), a.checkCommand(), a.compactCommand(),
	}
}

func (a *app) exportCommand() *cobra.Command {
	var to, photosTo string
	var owner loops.OwnerID
	var table workshop.TableName
	cmd := &cobra.Command{
		Use:   "export [--table TABLE | --owner NUMBER] [--to FILE] [--photos FOLDER]",
		Short: "Write the whole register as JSON Lines, or one list as CSV, or one owner",
		Long: `Export writes every record as JSON Lines, from which import makes the same
register again, byte for byte in its own export. Photos go as files into the
folder photos beside FILE; one that is there already is kept. Keys and passwords
are not in it: an import knows the technicians by name, and technician password
sets each a password again. With --table it writes one list as CSV for a
spreadsheet; that of the acts is what stands in every history. With --owner it
writes everything on record about that owner: machines and loops with the whole
history, the photos that these name, and the mail to them.`,
		Example: `  fillmark export --to register.jsonl
  fillmark export --owner 3 --to ana/ana.jsonl
  fillmark export --table owners > owners.csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if table != "" && photosTo != "" {
				return &usageError{errors.New("--photos: goes with the whole register or an owner; a table has no photos")}
			}
			if table != "" && owner != 0 {
				return &usageError{errors.New("--owner or --table, not both: a table is of all owners")}
			}
			if err := a.registerThere(cmd.Context()); err != nil {
				return err
			}
			if cmd.Flags().Changed("owner") && owner == 0 {
				return &usageError{errors.New(`--owner "0": the number of the owner is right, such as 3`)}
			}
			if table != "" {
				return a.export(cmd.Context(), "/api/v1/tables/"+string(table), to)
			}
			records, pictures := "/api/v1/export", "/api/v1/photos"
			if owner != 0 {
				records, pictures = fmt.Sprintf("/api/v1/owners/%d/export", owner), fmt.Sprintf("/api/v1/photos?owner=%d", owner)
			}
			if err := a.export(cmd.Context(), records, to); err != nil {
				return err
			}
			return a.exportPhotos(cmd.Context(), pictures, photosBeside(photosTo, to))
		},
	}
	f := cmd.Flags()
	f.Uint64Var((*uint64)(&owner), "owner", 0, "everything about the owner with the `number`")
	f.StringVar(&photosTo, "photos", "", "`folder` for the photos (default photos beside the file)")
	f.StringVar(&to, "to", "", "`file` to write, which must not be there yet (default standard output)")
	pick(f, &table, workshop.TableNames(), "table", "TABLE", "owners, machines, loops, containers or acts")
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
		Use:   "import FILE [--table TABLE] [--photos FOLDER] [--check]",
		Short: "Make a register of a JSON Lines export, or add the rows of a CSV list",
		Long: `Without --table, import makes a new register of an export; nothing may be
where the register goes. Its photos come from the folder photos beside FILE, or
from the one that is named. With --table it adds the rows of a CSV list to the
register: all of them in one change, or none. Every bad row is reported by line
and column before anything is written. Commas, semicolons and tabs, a byte order
mark and CRLF are all read. FILE - is standard input.

A table of acts says in each row what was done to a loop: its tag, the act, the
day, and what the act takes. Each row is judged as the command would be, by what the rows
before it leave; what has happened whatever speaks against it says yes under
already_done. Nothing is written before all are judged. Rows that were imported
before add nothing.`,
		Example: `  fillmark import owners.csv --table owners --check
  fillmark import history.csv --table acts --check
  fillmark --store new.db import register.jsonl`,
		Args: exactlyOne("the file"),
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
	pick(f, &table, workshop.TableNames(), "table", "TABLE", "owners, machines, loops, containers or acts")
	f.StringVar(&photosFrom, "photos", "", "`folder` with the photos (default photos beside the file)")
	f.BoolVar(&dryRun, "check", false, "find what is wrong and write nothing")
	return cmd
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
	there, err := c.RegisterThere()
	if err != nil {
		return err
	}
	if dryRun && !there {
		// A register that is not there is as good as an empty one, and is not made.
		folder, err := os.MkdirTemp("", "fillmark-import-*")
		if err != nil {
			return err
		}
		defer func() { _ = os.RemoveAll(folder) }() // a temporary folder
		c.Store, c.Folder = filepath.Join(folder, "register.db"), ""
	}
	imported, err := during(a, "importing", func() (imported workshop.Imported, err error) {
		err = a.withRegister(ctx, c, func(c *client) (err error) {
			path := fmt.Sprintf("/api/v1/tables/%s?dry_run=%t", table, dryRun)
			imported, err = decoded[workshop.Imported](c.send(ctx, "POST", path, content{"text/csv", io.NopCloser(in)})) // whoever opened the file closes it, not the client over the socket
			return err
		})
		return imported, err
	})
	if stop := (*acts.StopError)(nil); errors.As(err, &stop) {
		fmt.Fprintln(a.errOut, "fillmark: stopped at", stop.Act)
		return a.stopped(stop)
	}
	if err != nil {
		return err
	}
	return a.print(imported, func(p *printer) {
		if imported.Written {
			p.line("%s added to the %s.", plural(imported.Rows, "row"), table)
		} else {
			p.line("%s of %s can be added; nothing is written (--check).", plural(imported.Rows, "row"), table)
		}
		if len(imported.Ignored) > 0 {
			p.line("Not imported, since the register gives them: %s.", strings.Join(imported.Ignored, ", "))
		}
		if imported.Repeated > 0 {
			p.line("%s on record already, by an import before.", plural(imported.Repeated, "row"))
		}
		for _, f := range imported.Findings {
			p.paragraph("  ", "    ", fmt.Sprintf("%s: %s (%s): %s", f.Tag, strings.ToUpper(string(f.Verdict)), f.Rule, f.Text))
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
	to, photosTo := c.Store, photos.Folder(filepath.Join(c.Beside(), daemon.PhotosFolder))
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
	if !dryRun {
		if err := os.MkdirAll(c.Beside(), 0o700); err != nil {
			return fmt.Errorf("folder of the register: %w", err)
		}
	}
	undo := func() error { return os.Remove(to) } // only what was made here
	if store.InDatabase(to) {
		undo = func() error {
			return errors.New("the register is made in the database, and stays there: fillmark check says how it stands")
		}
	}
	var found []importFinding
	brought, err := during(a, "importing", func() (daemon.BroughtPhotos, error) {
		if err := store.Import(ctx, to, in); err != nil {
			return daemon.BroughtPhotos{}, err
		}
		var err error
		if found, err = findingsIn(to); err != nil {
			return daemon.BroughtPhotos{}, errors.Join(err, undo())
		}
		brought, err := daemon.BringPhotos(ctx, to, from, photosTo, dryRun)
		if err != nil {
			return brought, errors.Join(err, undo())
		}
		return brought, nil
	})
	if err != nil {
		return err
	}
	if n := len(brought.Lost); n > 0 {
		fmt.Fprintf(a.errOut, "fillmark: %s of %d not found whole in %q. Put them into %s; fillmark check names those that lack.\n", plural(n, "photo"), n+brought.There, string(from), photosTo)
	}
	answer := struct {
		Register   string          `json:"register"`
		Written    bool            `json:"written"`
		Photos     int             `json:"photos"`
		PhotosLost []string        `json:"photos_lost"`
		Findings   []importFinding `json:"findings"`
	}{c.Store, !dryRun, brought.There, brought.Lost, found}
	return a.print(answer, func(p *printer) {
		for _, f := range found {
			p.paragraph("", "  ", string(f.Tag)+": "+f.Text)
		}
		if dryRun {
			p.line("A register can be made of it; nothing is written (--check).")
			return
		}
		keys := "they come with a restore, or new"
		if c.InDatabase() {
			keys = "copy the folder keys into " + c.Folder + ", or new ones are made"
		}
		p.line("The register is made: %s. It has no keys of its own yet: %s.", c.Store, keys)
		if brought.There > 0 {
			p.line("With it are %s.", plural(brought.There, "photo"))
		}
	})
}

// importFinding is what stands against a loop of an imported register. Its
// history was judged when it was made and is not judged again; what follows from
// it is told.
type importFinding struct {
	Tag loops.Tag `json:"tag"`
	loops.Condition
}

// findingsIn lists what stands against the loops of a register.
func findingsIn(path string) (found []importFinding, err error) {
	register, err := store.Open(path, store.Options{})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, register.Close()) }()
	found = []importFinding{}
	for l, err := range register.Loops() {
		if err != nil {
			return nil, err
		}
		for _, c := range l.State.Conditions() {
			found = append(found, importFinding{l.Tag, c})
		}
	}
	return found, nil
}

// registerThere refuses where there is no register yet and no daemon runs:
// what looks after a register would make an empty one and find it sound.
func (a *app) registerThere(ctx context.Context) error {
	c, err := a.config()
	if err != nil {
		return err
	}
	if a.daemonRuns(ctx, c) {
		return nil
	}
	if there, err := c.RegisterThere(); there || err != nil {
		return err // what is wrong with a file says who opens it
	}
	return noRegister(c)
}

// tend asks for what looks after the register as a whole, and takes long.
func tend[T any](ctx context.Context, a *app, doing, method, path string, body any) (answer T, err error) {
	if err := a.registerThere(ctx); err != nil {
		return answer, err
	}
	return during(a, doing, func() (T, error) { return ask[T](ctx, a, method, path, body) })
}

// daemonRuns tells that somebody answers on the socket beside the register.
func (a *app) daemonRuns(ctx context.Context, c daemon.Config) bool {
	conn, err := c.Dial(ctx)
	if err != nil {
		return errors.Is(err, daemon.ErrStranger) // nothing is done beside what somebody else runs
	}
	_ = conn.Close() // only asked whether somebody answers
	return true
}

// nothingThere refuses where a daemon runs or a register is already.
func (a *app) nothingThere(ctx context.Context, c daemon.Config) error {
	if a.daemonRuns(ctx, c) {
		return fmt.Errorf("%w: the daemon runs; stop it first", loops.ErrInUse)
	}
	there, err := c.RegisterThere()
	if err != nil {
		return err
	}
	if there {
		return &loops.InvalidError{Field: "store", Value: c.Store, Reason: "a place where nothing is yet: nothing is ever overwritten, so move this aside or name another with --store"}
	}
	return nil
}
